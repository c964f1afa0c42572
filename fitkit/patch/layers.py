"""Which plate lies over which, and how far the lower ones lift the upper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.body.body import Body
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays, nearest_on_mesh
from fitkit.patch.design import EdgeTreatment, PatchDesign
from fitkit.patch.padding import run_out
from fitkit.patch.patch import Patch

__all__ = ["RUNOUT_MM", "lifted_mm", "lowest_first"]

RUNOUT_MM = 25.0
"""Length beside a lower plate over which the upper comes down again; common practice, no source."""

# Beside the border the full lift goes on this far: the body's triangles are no smaller.
_SHOULDER_MM = 6.0
# A lower plate farther than this above the body than its own clearance is not under the vertex.
_BRIDGED_MM = 60.0
# Cosine of the angle between body and sheet up to which one lies under the other.
_FACING = 0.3


def lowest_first(designs: Sequence[PatchDesign]) -> tuple[PatchDesign, ...]:
    """Return patches so that each comes after those that it lies over, else in their order.

    Raises
    ------
    DesignError
        When a patch lies over one that is not there, or patches lie over each other in a ring.
    """
    by_name = {design.name: design for design in designs}
    placed: dict[str, PatchDesign] = {}

    def visit(name: str, above: tuple[str, ...]) -> None:
        if name in placed:
            return
        if name in above:
            ring = " over ".join(f"'{one}'" for one in (*above[above.index(name) :], name))
            raise DesignError(
                f"The patches lie over each other in a ring: {ring}.",
                "Take one of them out of another's over.",
            )
        for lower in by_name[name].over:
            if lower not in by_name:
                raise DesignError(
                    f"The patch '{name}' lies over '{lower}', which is not drawn.",
                    f"Use names of other patches: {', '.join(n for n in by_name if n != name)}.",
                )
            visit(lower, (*above, name))
        placed[name] = by_name[name]

    for name in by_name:
        visit(name, ())
    return tuple(placed.values())


def lifted_mm(
    body: Body,
    raised_mm: Floats | None,
    lower: Sequence[Patch],
    *,
    clearance_mm: float,
    play_mm: float,
) -> Floats:
    """(V,) float mm: how far body, pads and lower plates raise the surface under a plate.

    Over a lower plate and its laps the upper's inside stands off by the lower's sheet and the
    play; beside it the lift runs out over :data:`RUNOUT_MM`.

    Parameters
    ----------
    raised_mm
        (V,) float mm: how far pads alone raise the body; None for nowhere.
    lower
        The plates right below, cut from their own forms. A paired one lies on both sides.
    clearance_mm
        The upper's own.
    play_mm
        Room between the two sheets.
    """
    raised_mm = np.zeros(len(body.mesh.vertices)) if raised_mm is None else raised_mm
    lifted = raised_mm.copy()
    points, normals = body.mesh.vertices, body.mesh.vertex_normals()
    for patch in lower:
        own_mm = (patch.design.clearance_mm or 0.0) + 0.5 * patch.design.thickness_mm
        stand_mm = 0.5 * patch.design.thickness_mm + play_mm - clearance_mm
        for sheet, rim, laps in _both_sides(patch):
            at, ways = sheet.vertices[rim], sheet.vertex_normals()[rim]
            near = _near(points, sheet, own_mm + raised_mm.max(initial=0.0) + _BRIDGED_MM)
            border = _Border(at, ways, laps, nearest_on_mesh(body.mesh, at)[2])
            height, beside = _above(
                points[near], normals[near], raised_mm[near] + own_mm, sheet, border
            )
            wanted = np.maximum(height + stand_mm - raised_mm[near], 0.0)
            raise_to = raised_mm[near] + wanted * run_out(beside, RUNOUT_MM)
            lifted[near] = np.maximum(lifted[near], raise_to)
    return lifted


def _lap_mm(treatment: EdgeTreatment | None) -> float:
    return treatment.size_mm if treatment is not None and treatment.kind == "lap" else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Border:
    """Places along a sheet's border, the sheet's normal, lap and height above the body at each."""

    at_mm: Floats
    normals: Floats
    laps_mm: Floats
    heights_mm: Floats


def _both_sides(patch: Patch) -> list[tuple[TriangleMesh, Ints, Floats]]:
    """Sheets of a patch, with the vertices along its border and the width of the lap at each."""
    rim = [edge.vertices for loop in patch.loops for edge in loop]
    widths = [_lap_mm(patch.design.edges.get(edge.line)) for loop in patch.loops for edge in loop]
    vertices = np.concatenate(rim)
    lap = np.repeat(widths, [len(edge) for edge in rim])
    sheets = [(patch.mesh, vertices, lap)]
    if patch.design.paired:
        sheets.append((patch.mesh.mirrored(), vertices, lap))
    return sheets


def _near(points: Floats, sheet: TriangleMesh, reach_mm: float) -> Bools:
    low, high = sheet.bounds_mm() + np.array([[-1.0], [1.0]]) * (reach_mm + RUNOUT_MM)
    near: Bools = ((points > low) & (points < high)).all(axis=1)
    return near


def _above(
    points: Floats, normals: Floats, usual_mm: Floats, sheet: TriangleMesh, border: _Border
) -> tuple[Floats, Floats]:
    """Height of a sheet above points, along their normals, and how far beside it they lie.

    Beside the sheet and its laps, its height is that of the nearest place of its border. What
    faces the sheet's outside, as the inside of an arm does, is not under it.
    """
    if len(points) == 0:
        return np.zeros(0), np.zeros(0)
    hits = SurfaceRays(sheet).first_hit(points, normals)
    scaled = sheet.face_normals_scaled()[hits.faces]
    along = np.einsum("ni,ni->n", scaled, normals) > _FACING * np.linalg.norm(scaled, axis=1)
    under = (hits.distance_mm < usual_mm + _BRIDGED_MM) & along
    height = np.where(under, hits.distance_mm, 0.0)
    beside = np.zeros(len(points))
    out = np.flatnonzero(~under)
    reach, at = cKDTree(border.at_mm).query(points[out] + usual_mm[out, np.newaxis] * normals[out])
    height[out] = border.heights_mm[at]
    beside[out] = np.maximum(reach - border.laps_mm[at] - _SHOULDER_MM, 0.0)
    away = np.einsum("ni,ni->n", border.normals[at], normals[out]) <= _FACING
    beside[out[away]] = np.inf
    return height, beside
