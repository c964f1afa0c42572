"""Trim lines: the least of a plate to cut away so that the asked range is free."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.level_cut import LevelCut, level_cut
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.remembered import remembered
from fitkit.geometry.topology import (
    border_vertices,
    components,
    largest_component,
    vertex_adjacency,
)
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.sweep import BODY, Contact, SkinBody, SweepSettings, Swept, sweep

__all__ = ["Trim", "plan_trims"]

_MIRROR = np.array([-1.0, 1.0, 1.0])
# How finely a plate is looked at where it is touched, and what counts as one place there.
_FINE_MM = 1.5
_SAME_MM = 0.75
_FAR_MM = 20.0
_NEAR_MM = 8.0
_ROUNDS = 4
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
    inside_mm
        (3,) float mm: a place of what is left, far from its edge, on the patch as drawn.
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
    inside_mm: Floats
    frees: tuple[str, ...]


def plan_trims(
    body: SkinBody,
    plates: Sequence[RidingPlate],
    swept: Sequence[Swept],
    settings: SweepSettings,
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
    latest = {one.asked.name: one for one in swept if one.contacts}
    order = [one.asked for one in swept if one.contacts]
    touched: dict[str, list[Floats]] = {}
    frees: dict[str, dict[str, None]] = {}
    now = {plate.name: plate for plate in plates}
    cut: dict[str, TriangleMesh] = {}
    told = progress or (lambda _fraction, _words: None)
    for round_number in range(_ROUNDS):
        changed = set()
        for number, asked in enumerate(order):
            done = (round_number + 0.7 * number / len(order)) / _ROUNDS
            told(done, f"looking for trim lines: {asked.name}")
            for contact in latest[asked.name].contacts:
                found = _losing(body, now, plates, touched, contact, asked, settings, keep)
                for patch, spots in found:
                    kept = _cut(plates, patch, [*touched.get(patch, []), spots], margin_mm)
                    if kept is not None:
                        touched.setdefault(patch, []).append(spots)
                        frees.setdefault(patch, {})[asked.name] = None
                        cut[patch] = kept
                        changed.add(patch)
                        break
        if not changed:
            break
        now = {plate.name: _trimmed(plate, plates, cut.get(plate.patch)) for plate in plates}
        worn = {plate.name for plate in plates if plate.patch in changed}
        better = [
            asked
            for asked in order
            if any({one.plate, one.other} & worn for one in latest[asked.name].contacts)
        ]
        for one in sweep(body, list(now.values()), better, settings):
            latest[one.asked.name] = one
    trims = tuple(_trim(plates, patch, kept, tuple(frees[patch])) for patch, kept in cut.items())
    return trims, tuple(latest[asked.name] for asked in order)


def _losing(
    body: SkinBody,
    now: Mapping[str, RidingPlate],
    plates: Sequence[RidingPlate],
    touched: Mapping[str, list[Floats]],
    contact: Contact,
    asked: AskedRange,
    settings: SweepSettings,
    keep: Collection[str],
) -> list[tuple[str, Floats]]:
    """Return which patches could lose which places, as drawn, to end a contact, least first."""
    options = []
    for name, other, mask in (
        (contact.plate, contact.other, contact.touched),
        (contact.other, contact.plate, contact.other_touched),
    ):
        if name == BODY or mask is None or now[name].patch in keep:
            continue
        plate = now[name]
        spots = _closely(body, now, plates, plate, other, mask, asked, settings)
        if len(spots) == 0:
            continue
        drawn = spots * _MIRROR if _is_mirrored(plate, plates) else spots
        lost = [*touched.get(plate.patch, [])]
        # What it costs beyond what the plate loses anyway, in points that stand for areas alike.
        mesh = _drawn(plates, plate.patch)
        new = drawn
        if lost:
            new = drawn[cKDTree(np.vstack(lost)).query(drawn)[0] > _SAME_MM]
        cost = len(new) * mesh.area_mm2() / len(_fine_points(mesh))
        options.append((cost, plate.patch, drawn))
    options.sort(key=lambda row: row[:2])
    return [(patch, spots) for _, patch, spots in options]


def _closely(
    body: SkinBody,
    now: Mapping[str, RidingPlate],
    plates: Sequence[RidingPlate],
    plate: RidingPlate,
    other: str,
    mask: Bools,
    asked: AskedRange,
    settings: SweepSettings,
) -> Floats:
    """Return the touched places of a plate, looked at finely about those known so far."""
    rough = plate.spots_mm[mask]
    if len(rough) == 0 or mask.mean() > _MOST_SHARE:
        return rough[:0]
    whole = _fine_points(_drawn(plates, plate.patch))
    if _is_mirrored(plate, plates):
        whole = whole * _MIRROR
    near = cKDTree(rough).query(whole, distance_upper_bound=_NEAR_MM)[0] < np.inf
    # Only between touched places and spared ones is there anything to find out.
    beside = cKDTree(plate.spots_mm[~mask]).query(whole, distance_upper_bound=_NEAR_MM)[0] < np.inf
    sure = np.vstack([rough, whole[near & ~beside]])
    fine = replace(plate, chosen_mm=whole[near & beside])
    against = [fine] if other == BODY else [fine, now[other]]
    found = sweep(body, against, [asked], settings, only=[(plate.name, other)])[0]
    for contact in found.contacts:
        own = contact.touched if contact.plate == plate.name else contact.other_touched
        if own is not None:
            return np.vstack([sure, fine.spots_mm[own]])
    return sure


@remembered
def _fine_points(mesh: TriangleMesh) -> Floats:
    """(N, 3) float mm: points all over a mesh, about a millimetre apart, always the same ones."""
    edge = np.linalg.norm(mesh.corners - np.roll(mesh.corners, 1, axis=1), axis=2)
    parts = int(np.clip(np.ceil(np.median(edge) / _FINE_MM), 1, 6))
    weights = [
        (i, j, parts - i - j)
        for i in range(parts + 1)
        for j in range(parts + 1 - i)
        if max(i, j, parts - i - j) < parts
    ]
    inner = np.einsum("kc,fci->fki", np.array(weights).reshape(-1, 3) / parts, mesh.corners)
    return np.vstack([mesh.vertices, inner.reshape(-1, 3)])


def _drawn(plates: Sequence[RidingPlate], patch: str) -> TriangleMesh:
    return next(plate.mesh for plate in plates if plate.patch == patch)


def _is_mirrored(plate: RidingPlate, plates: Sequence[RidingPlate]) -> bool:
    """Tell whether a plate is the other one of its pair; the one drawn comes first."""
    return next(one for one in plates if one.patch == plate.patch).side is not plate.side


def _trimmed(
    plate: RidingPlate, plates: Sequence[RidingPlate], kept: TriangleMesh | None
) -> RidingPlate:
    if kept is None:
        return plate
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
    losing = np.asarray(lost[mesh.faces].any(axis=1))
    part, used = mesh.faces_only(losing)
    label = components(part)
    hanging = {int(k) for k in label[rim[used[part.faces]].any(axis=1)]}
    if set(label.tolist()) - hanging:
        return None
    kept = level_cut(mesh, values).mesh
    if len(kept.faces) == 0:
        return None
    kept = largest_component(kept)
    return kept if kept.area_mm2() >= (1.0 - _MOST_SHARE) * mesh.area_mm2() else None


def _outside_mm(mesh: TriangleMesh, spots: Floats, margin_mm: float) -> Floats:
    """(V,) float mm: how far each vertex lies outside what is touched and the margin about it.

    Evened out, so that a snip can follow the line; half a millimetre is all that this gives back.
    """
    low, high = spots.min(axis=0) - _FAR_MM, spots.max(axis=0) + _FAR_MM

    def about(points: Floats) -> Bools:
        return np.asarray(((points > low) & (points < high)).all(axis=1))

    touched = cKDTree(spots)
    fine = _fine_points(mesh)
    fine = fine[about(fine)]
    spared = fine[touched.query(fine)[0] > _SAME_MM]
    near = about(mesh.vertices)
    inside = cKDTree(spared).query(mesh.vertices[near])[0] if len(spared) else _FAR_MM
    apart = np.full(len(mesh.vertices), _FAR_MM)
    apart[near] = 0.5 * (touched.query(mesh.vertices[near])[0] - inside) - margin_mm - _FINE_MM
    links = vertex_adjacency(mesh).tocsr()
    mean = np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1.0)
    even = apart
    for _ in range(_SMOOTHINGS):
        even = 0.5 * even + 0.5 * (links @ even) / mean
    outside: Floats = np.minimum(even, apart + 0.5)
    return outside


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
        kept.vertices[int(cKDTree(new).query(kept.vertices)[0].argmax())],
        frees,
    )


def _cut_lines(mesh: TriangleMesh, kept: TriangleMesh) -> tuple[Floats, ...]:
    """Return the lines of the new border that are not the old one."""
    new = cKDTree(mesh.vertices).query(kept.vertices)[0] > 1e-9
    return LevelCut(kept, new).lines()
