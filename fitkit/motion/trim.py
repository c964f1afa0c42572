"""Trim lines: the least of a plate to cut away so that the asked range is free."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from fitkit.body.side import Side
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.level_cut import level_cut
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import (
    border_vertices,
    components,
    largest_component,
    vertex_adjacency,
)
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.sweep import BODY, SkinBody, SweepSettings, Swept, sweep

__all__ = ["Trim", "plan_trims"]

_MIRROR = np.array([-1.0, 1.0, 1.0])
# Places between two vertices of a plate's mesh are touched too: half the mesh's edges.
_BETWEEN_MM = 2.0
_NEAR_MM = 12.0
_ROUNDS = 3
_SMOOTHINGS = 4
_MOST_SHARE = 0.4


@dataclass(frozen=True, slots=True, eq=False)
class Trim:
    """What to cut off one patch; of a pair both alike.

    Attributes
    ----------
    patch
        Its name.
    lines_mm
        (N, 3) float mm each, on the patch as drawn: where to cut.
    kept
        What is left of the patch as drawn.
    area_mm2, share
        What is lost, and as a share of the patch.
    width_mm
        How far in from the old edge the line goes at most.
    middle_mm
        (3,) float mm: the middle of what is lost, on the patch as drawn.
    frees
        Names of the ranges that it helps to free.
    """

    patch: str
    lines_mm: tuple[Floats, ...]
    kept: TriangleMesh
    area_mm2: float
    share: float
    width_mm: float
    middle_mm: Floats
    frees: tuple[str, ...]


def plan_trims(
    body: SkinBody,
    plates: Sequence[RidingPlate],
    swept: Sequence[Swept],
    settings: SweepSettings = SweepSettings(),
    *,
    margin_mm: float = 2.0,
    keep: Collection[str] = (),
    progress: Callable[[float, str], None] | None = None,
) -> tuple[tuple[Trim, ...], tuple[Swept, ...]]:
    """Return trims that free what stopped short, and those ranges swept again with them.

    Of two plates that meet, the one is trimmed that loses less. A plate is left alone where it is
    touched away from its edge, or would lose more than 40 % of itself: that calls for other
    means, and the range stays short.

    Parameters
    ----------
    swept
        What the untrimmed plates did.
    margin_mm
        How much more than what is touched is cut away.
    keep
        Patches not to be trimmed.
    """
    short = [one for one in swept if one.contacts]
    if not short:
        return (), ()
    touched: dict[str, list[Floats]] = {}
    frees: dict[str, list[str]] = {}
    now = {plate.name: plate for plate in plates}
    again: tuple[Swept, ...] = tuple(short)
    for round_number in range(_ROUNDS):
        if progress is not None:
            progress(round_number / _ROUNDS, "looking for trim lines")
        before = {name: sum(map(len, spots)) for name, spots in touched.items()}
        for one in again:
            for patch, spots in _spots_to_lose(body, now, plates, one, settings, margin_mm, keep):
                touched.setdefault(patch, []).append(spots)
                if one.asked.name not in frees.setdefault(patch, []):
                    frees[patch].append(one.asked.name)
        cut = {patch: _cut(plates, patch, spots, margin_mm) for patch, spots in touched.items()}
        if before == {name: sum(map(len, spots)) for name, spots in touched.items()}:
            break
        now = {
            plate.name: _trimmed(plate, plates, cut[plate.patch])
            if cut.get(plate.patch) is not None
            else plate
            for plate in plates
        }
        again = sweep(body, list(now.values()), [one.asked for one in short], settings)
        if not any(one.contacts for one in again):
            break
    trims = tuple(
        _trim(plates, patch, kept, tuple(frees[patch]))
        for patch, kept in cut.items()
        if kept is not None
    )
    return trims, again


def _spots_to_lose(
    body: SkinBody,
    now: Mapping[str, RidingPlate],
    plates: Sequence[RidingPlate],
    one: Swept,
    settings: SweepSettings,
    margin_mm: float,
    keep: Collection[str],
) -> Iterable[tuple[str, Floats]]:
    """Yield patches with the places, on the side they are drawn on, that they have to lose."""
    for contact in one.contacts:
        options = []
        for name, other, mask in (
            (contact.plate, contact.other, contact.touched),
            (contact.other, contact.plate, contact.other_touched),
        ):
            if name == BODY or mask is None or now[name].patch in keep:
                continue
            plate = now[name]
            spots = _closely(body, now, plate, other, mask, one.asked, settings)
            if len(spots) == 0:
                continue
            drawn = spots * _MIRROR if _is_mirrored(plate, plates) else spots
            kept = _cut(plates, plate.patch, [drawn], margin_mm)
            if kept is not None:
                lost = _drawn(plates, plate.patch).area_mm2() - kept.area_mm2()
                options.append((lost, plate.patch, drawn))
        if options:
            _, patch, spots = min(options, key=lambda row: (row[0], row[1]))
            yield patch, spots


def _closely(
    body: SkinBody,
    now: Mapping[str, RidingPlate],
    plate: RidingPlate,
    other: str,
    mask: Bools,
    asked: AskedRange,
    settings: SweepSettings,
) -> Floats:
    """Return the touched places of a plate, its mesh looked at vertex by vertex about them."""
    rough = plate.spots_mm[mask]
    if len(rough) == 0:
        rough = plate.spots_mm[:0]
        near = np.ones(len(plate.mesh.vertices), dtype=np.bool_)
    else:
        near = cKDTree(rough).query(plate.mesh.vertices, distance_upper_bound=_NEAR_MM)[0] < np.inf
    fine = replace(plate, chosen_mm=plate.mesh.vertices[near])
    against = [fine] if other == BODY else [fine, now[other]]
    found = sweep(body, against, [asked], settings, only=[(plate.name, other)])[0]
    for contact in found.contacts:
        own = contact.touched if contact.plate == plate.name else contact.other_touched
        if own is not None:
            return np.vstack([rough, fine.spots_mm[own]])
    return rough


def _drawn(plates: Sequence[RidingPlate], patch: str) -> TriangleMesh:
    return next(plate.mesh for plate in plates if plate.patch == patch)


def _is_mirrored(plate: RidingPlate, plates: Sequence[RidingPlate]) -> bool:
    """Tell whether a plate is the other one of its pair; the one drawn comes first."""
    return next(one for one in plates if one.patch == plate.patch).side is not plate.side


def _trimmed(plate: RidingPlate, plates: Sequence[RidingPlate], kept: TriangleMesh) -> RidingPlate:
    if _is_mirrored(plate, plates):
        kept = TriangleMesh(kept.vertices * _MIRROR, kept.faces[:, ::-1])
    return replace(plate, mesh=kept)


def _cut(
    plates: Sequence[RidingPlate], patch: str, spots: Sequence[Floats], margin_mm: float
) -> TriangleMesh | None:
    """Return what is left of a patch without some places and what lies about them.

    None where that would leave a hole within it, or too little.
    """
    mesh = _drawn(plates, patch)
    values = _outside_mm(mesh, np.vstack(spots), margin_mm)
    rim = border_vertices(mesh)
    lost = values <= 0
    # Whatever is lost must hang on the edge, or cutting it out makes a hole.
    inner = mesh.faces[lost[mesh.faces].any(axis=1)]
    if len(inner):
        part, used = mesh.faces_only(lost[mesh.faces].any(axis=1))
        label = components(part)
        open_edge = np.array(
            [rim[used[part.faces[label == k]]].any() for k in range(int(label.max()) + 1)]
        )
        if not open_edge.all():
            return None
    kept = level_cut(mesh, values).mesh
    if len(kept.faces) == 0:
        return None
    kept = largest_component(kept)
    return kept if kept.area_mm2() >= (1.0 - _MOST_SHARE) * mesh.area_mm2() else None


def _outside_mm(mesh: TriangleMesh, spots: Floats, margin_mm: float) -> Floats:
    """(V,) float mm: how far each vertex lies outside the margin round the spots, evened out.

    Evening out leaves a line that a snip can follow; it never gives back what is touched.
    """
    reach_mm = margin_mm + _BETWEEN_MM
    apart = cKDTree(spots).query(mesh.vertices)[0] - reach_mm
    links = vertex_adjacency(mesh).tocsr()
    mean = np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1.0)
    even = apart
    for _ in range(_SMOOTHINGS):
        even = 0.5 * even + 0.5 * (links @ even) / mean
    # No place nearer to a spot than half the margin may come out on the outside.
    return np.minimum(even, apart + 0.5 * reach_mm)


def _trim(
    plates: Sequence[RidingPlate], patch: str, kept: TriangleMesh, frees: tuple[str, ...]
) -> Trim:
    mesh = _drawn(plates, patch)
    area = mesh.area_mm2() - kept.area_mm2()
    old = mesh.vertices[border_vertices(mesh)]
    new = kept.vertices[border_vertices(kept)]
    along = new[cKDTree(mesh.vertices).query(new)[0] > 1e-9]
    on_old = cKDTree(new).query(old)[0] < 1e-9
    lost_rim = old[~on_old]
    gone = cKDTree(kept.corners.mean(axis=1)).query(mesh.corners.mean(axis=1))[0] > 1e-6
    weights = mesh.face_areas_mm2()[gone]
    middle = np.average(mesh.corners.mean(axis=1)[gone], axis=0, weights=weights)
    width = float(cKDTree(along).query(lost_rim)[0].max()) if len(lost_rim) and len(along) else 0.0
    return Trim(
        patch,
        _cut_lines(mesh, kept),
        kept,
        area,
        area / mesh.area_mm2(),
        width,
        middle,
        frees,
    )


def _cut_lines(mesh: TriangleMesh, kept: TriangleMesh) -> tuple[Floats, ...]:
    """Return the lines of the new border that are not the old one."""
    from fitkit.geometry.level_cut import LevelCut

    new = cKDTree(mesh.vertices).query(kept.vertices)[0] > 1e-9
    return LevelCut(kept, new).lines()


_SIDES = (Side.LEFT, Side.RIGHT)
