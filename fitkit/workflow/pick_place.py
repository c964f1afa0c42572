"""What lies under a pointer: the place on the body, and the line, landmark or patch there."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.geometry.surface_point import SurfacePoint
    from fitkit.workflow.design_view import LinesView, PatchesView

__all__ = ["Picked", "Ray", "first_mesh_hit", "pick", "place_of"]


@dataclass(frozen=True, slots=True)
class Ray:
    """A line of sight into the body's frame.

    Attributes
    ----------
    origin_mm, direction
        Three numbers each; the direction has any length but zero.
    reach
        Half the width at a distance of 1 within which lines and landmarks count as meant.
    """

    origin_mm: tuple[float, float, float]
    direction: tuple[float, float, float]
    reach: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Picked:
    """What a ray meets first.

    Attributes
    ----------
    point
        On the body.
    line, along
        The nearest tape line within reach, and where on it, 0 at its start to 1.
    landmark
        The nearest landmark within reach.
    patch
        The patch it lies in.
    """

    point: SurfacePoint
    line: str | None = None
    along: float = 0.0
    landmark: str | None = None
    patch: str | None = None


def pick(
    lines: LinesView,
    ray: Ray,
    *,
    patches: PatchesView | None = None,
    landmarks: bool = False,
    without: Collection[str] = (),
) -> Picked | None:
    """Return what a ray meets first, None when it passes the body.

    Parameters
    ----------
    patches
        To tell the patch.
    landmarks
        Whether landmarks can be meant.
    without
        Lines that cannot be meant.
    """
    from fitkit.geometry.nearest import rays_of
    from fitkit.geometry.surface_point import SurfacePoint

    body = lines.drawn.form.body
    hit = rays_of(lines.drawn.form.mesh).first_hit(
        np.array([ray.origin_mm]), np.array([ray.direction])
    )
    if hit.faces[0] < 0:
        return None
    point = SurfacePoint(hit.points_mm[0], int(hit.faces[0]))
    reach_mm = ray.reach * float(np.linalg.norm(point.point_mm - np.array(ray.origin_mm)))
    mark = None
    if landmarks and body.landmarks:
        off, name = min(
            (float(np.linalg.norm(m.at_mm - point.point_mm)), m.name)
            for m in body.landmarks.values()
        )
        mark = name if off <= reach_mm else None
    line, along = _nearest_line(lines, point.point_mm, reach_mm, without)
    patch = None
    if patches is not None and patches.lines.drawn.form is lines.drawn.form:
        found = patches.patch_at(point)
        patch = None if found is None else found.design.name
    return Picked(point, line, along, mark, patch)


def first_mesh_hit(meshes: Mapping[str, TriangleMesh], ray: Ray) -> str | None:
    """Return the name of the mesh that a ray meets first, None when it meets none."""
    from fitkit.geometry.nearest import rays_of

    origin = np.array([ray.origin_mm])
    nearest, found = np.inf, None
    for name, mesh in meshes.items():
        hit = rays_of(mesh).first_hit(origin, np.array([ray.direction]))
        if hit.faces[0] >= 0:
            far = float(np.linalg.norm(hit.points_mm[0] - origin[0]))
            if far < nearest:
                nearest, found = far, name
    return found


def place_of(lines: LinesView, picked: Picked) -> dict[str, Any]:
    """Return a picked place as the values of an anchor: on a landmark or line it stays there."""
    from fitkit.job.designs import anchor_values_of
    from fitkit.patch.place_in_words import anchor_at

    if picked.landmark is not None:
        return {"landmark": picked.landmark}
    if picked.line is not None:
        return {"line": picked.line, "along": round(picked.along, 4)}
    return anchor_values_of(anchor_at(lines.drawn.form, picked.point.point_mm))


def _nearest_line(
    lines: LinesView, point_mm: Floats, reach_mm: float, without: Collection[str]
) -> tuple[str | None, float]:
    best, where, along = reach_mm, None, 0.0
    for line in lines.drawn.lines:
        if line.name in without:
            continue
        points = line.path.round_points_mm
        start, way = points[:-1], np.diff(points, axis=0)
        square = np.maximum(np.einsum("ni,ni->n", way, way), 1e-300)
        share = np.clip(np.einsum("ni,ni->n", point_mm - start, way) / square, 0.0, 1.0)
        off = np.linalg.norm(start + share[:, None] * way - point_mm, axis=1)
        at = int(off.argmin())
        if off[at] < best:
            lengths = np.sqrt(square)
            reached = float(lengths[:at].sum() + share[at] * lengths[at])
            best, where, along = float(off[at]), line.name, reached / float(lengths.sum())
    if where is not None and along * (1.0 - along) < 1e-4:
        along = float(round(along))
    return where, along
