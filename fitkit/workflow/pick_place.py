"""What lies under a pointer: the place on the body, and the line, landmark or patch there."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from fitkit.body.body import Body, Landmark
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.geometry.surface_path import SurfacePath
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
    meant_mm
        (3,) float mm: that, or the landmark, crossing or place on a line that is meant there.
    line, along
        The nearest tape line within reach, and where on it, 0 at its start to 1.
    crossing
        The line that it crosses there, where the two cross nowhere else.
    landmark
        The nearest landmark within reach.
    patch
        The patch, or the pair, that it lies in.
    """

    point: SurfacePoint
    meant_mm: Floats
    line: str | None = None
    along: float = 0.0
    crossing: str | None = None
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
    mark = _nearest_landmark(body, point.point_mm, reach_mm) if landmarks else None
    on_line = _on_line(lines, point.point_mm, reach_mm, without)
    patch = None
    if patches is not None and patches.lines.drawn.form is lines.drawn.form:
        found = patches.patch_at(point) or patches.pair_at(point)
        patch = None if found is None else found.design.name
    meant_mm = point.point_mm if on_line is None else on_line.at_mm
    picked = Picked(point, meant_mm if mark is None else mark.at_mm, patch=patch)
    if mark is not None:
        picked = replace(picked, landmark=mark.name)
    if on_line is None:
        return picked
    return replace(picked, line=on_line.line, along=on_line.along, crossing=on_line.crossing)


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
    """Return a picked place as the values of an anchor.

    On a landmark, a crossing or a line it stays there.
    """
    from fitkit.job.designs import anchor_values_of
    from fitkit.patch.place_in_words import anchor_at

    if picked.landmark is not None:
        return {"landmark": picked.landmark}
    if picked.line is not None and picked.crossing is not None:
        return {"line": picked.line, "crossing": picked.crossing}
    if picked.line is not None:
        return {"line": picked.line, "along": round(picked.along, 4)}
    return anchor_values_of(anchor_at(lines.drawn.form, picked.point.point_mm))


@dataclass(frozen=True, slots=True, eq=False)
class _OnLine:
    """A place on a line, ``off_mm`` from the pointer."""

    line: str
    along: float
    at_mm: Floats
    off_mm: float
    crossing: str | None = None


def _nearest_landmark(body: Body, point_mm: Floats, reach_mm: float) -> Landmark | None:
    def off_mm(mark: Landmark) -> float:
        return float(np.linalg.norm(mark.at_mm - point_mm))

    nearest = min(body.landmarks.values(), key=off_mm, default=None)
    return nearest if nearest is not None and off_mm(nearest) <= reach_mm else None


def _on_line(
    lines: LinesView, point_mm: Floats, reach_mm: float, without: Collection[str]
) -> _OnLine | None:
    """Return the place meant on the lines within reach: a crossing first, then a line's end."""
    paths = {one.name: one.path for one in lines.drawn.lines if one.name not in without}
    found = (_nearest_on(name, path, point_mm) for name, path in paths.items())
    near = sorted((one for one in found if one.off_mm < reach_mm), key=lambda one: one.off_mm)
    if not near:
        return None
    crossings = (
        crossing
        for one, other in combinations(near, 2)
        if (crossing := _crossing_of(paths, one.line, other.line, point_mm)).off_mm < reach_mm
    )
    nearest = min(crossings, key=lambda one: one.off_mm, default=None)
    return nearest or _at_the_end(paths[near[0].line], near[0], point_mm, reach_mm)


def _nearest_on(name: str, path: SurfacePath, point_mm: Floats) -> _OnLine:
    points = path.round_points_mm
    start, way = points[:-1], np.diff(points, axis=0)
    square = np.maximum(np.einsum("ni,ni->n", way, way), 1e-300)
    share = np.clip(np.einsum("ni,ni->n", point_mm - start, way) / square, 0.0, 1.0)
    places = start + share[:, None] * way
    off = np.linalg.norm(places - point_mm, axis=1)
    at = int(off.argmin())
    lengths = np.sqrt(square)
    along = float((lengths[:at].sum() + share[at] * lengths[at]) / lengths.sum())
    if along * (1.0 - along) < 1e-4:
        along = float(round(along))
    return _OnLine(name, along, places[at], float(off[at]))


def _crossing_of(
    paths: Mapping[str, SurfacePath], name: str, other: str, point_mm: Floats
) -> _OnLine:
    """Return the crossing of two lines nearest to the pointer, infinitely far where there is none.

    It is told by the other line where that alone says which is meant, else by its place.
    """
    from fitkit.patch.line_anchor import line_meetings

    meetings = [point.point_mm for point in line_meetings(paths[name], paths[other])]
    if not meetings:
        return _OnLine(name, 0.0, point_mm, np.inf)
    nearest = min(meetings, key=lambda at: float(np.linalg.norm(at - point_mm)))
    off_mm = float(np.linalg.norm(nearest - point_mm))
    there = _nearest_on(name, paths[name], nearest)
    return replace(there, off_mm=off_mm, crossing=other if len(meetings) == 1 else None)


def _at_the_end(path: SurfacePath, near: _OnLine, point_mm: Floats, reach_mm: float) -> _OnLine:
    if path.closed:
        return near
    ends = path.points_mm[[0, -1]]
    off = np.linalg.norm(ends - point_mm, axis=1)
    nearest = int(off.argmin())
    if off[nearest] >= reach_mm:
        return near
    return replace(near, along=float(nearest), at_mm=ends[nearest], off_mm=float(off[nearest]))
