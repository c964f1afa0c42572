"""Trim lines: the least of a plate to cut away so that the asked range is free."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.level_cut import LevelCut, level_cut
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.remembered import remembered
from fitkit.geometry.topology import (
    border_vertices,
    components,
    edges,
    largest_component,
    vertex_adjacency,
)
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.skin_body import SkinBody
from fitkit.motion.sweep import BODY, Contact, SweepSettings, Swept, sweep

__all__ = ["Trim", "plan_trims"]

_MIRROR = np.array([-1.0, 1.0, 1.0])
# How finely a plate is looked at where it is touched.
_FINE_MM = 1.5
_FAR_MM = 20.0
_NEAR_MM = 8.0
# Where edges butt, each cut may leave the next places along them in touch.
_ROUNDS = 12
_SMOOTHINGS = 4
# The tightest inward round of a trim line.
_DISC_MM = 12.0
# How far beyond a mesh's corner a cut goes at least.
_CORNER_MM = 0.1
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
    settings = replace(settings, most_room_mm=0.0)
    latest = {one.asked.name: one for one in swept if one.contacts}
    order = [one.asked for one in swept if one.contacts]
    lost: dict[str, Bools] = {}
    frees: dict[str, dict[str, None]] = {}
    now = {plate.name: plate for plate in plates}
    cut: dict[str, TriangleMesh] = {}
    told = progress or (lambda _fraction, _words: None)
    for round_number in range(_ROUNDS):
        changed: set[str] = set()
        for number, asked in enumerate(order):
            # Most is done in the first round, and nobody knows how many there will be.
            done = 1.0 - 0.5 ** (round_number + 0.7 * number / len(order))
            told(done, f"looking for trim lines: {asked.name}")
            for contact in latest[asked.name].contacts:
                going = _going(now, plates, lost, contact, changed)
                if going is not None:
                    frees[going][asked.name] = None
                    continue
                found = _losing(body, now, plates, lost, contact, asked, settings, keep)
                for patch, own in found:
                    more = own | lost.get(patch, False)
                    kept = _cut(plates, patch, more, margin_mm)
                    if kept is not None:
                        lost[patch] = more
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
        names = [*now, BODY]
        pairs = [(a, b) for a in now for b in names if a in worn or b in worn]
        for one in sweep(body, list(now.values()), better, settings, only=pairs):
            latest[one.asked.name] = latest[one.asked.name].renewed(one, worn)
    trims = tuple(_trim(plates, patch, kept, tuple(frees[patch])) for patch, kept in cut.items())
    return trims, tuple(latest[asked.name] for asked in order)


def _going(
    now: Mapping[str, RidingPlate],
    plates: Sequence[RidingPlate],
    lost: Mapping[str, Bools],
    contact: Contact,
    changed: Collection[str],
) -> str | None:
    """Return the patch that this round's cuts already take out of a contact's way, if one does."""
    for name, mask in ((contact.plate, contact.touched), (contact.other, contact.other_touched)):
        if name == BODY or mask is None or now[name].patch not in changed:
            continue
        plate = now[name]
        whole = _fine_on(plates, plate)
        under = whole.tree.query(_as_drawn(plates, plate, plate.spots_mm[mask]))[1]
        if lost[plate.patch][under].all():
            return plate.patch
    return None


def _losing(
    body: SkinBody,
    now: Mapping[str, RidingPlate],
    plates: Sequence[RidingPlate],
    lost: Mapping[str, Bools],
    contact: Contact,
    asked: AskedRange,
    settings: SweepSettings,
    keep: Collection[str],
) -> list[tuple[str, Bools]]:
    """Return which patches could lose which of their fine places to end a contact, least first."""
    options = []
    for name, other, mask in (
        (contact.plate, contact.other, contact.touched),
        (contact.other, contact.plate, contact.other_touched),
    ):
        if name == BODY or mask is None or now[name].patch in keep:
            continue
        plate = now[name]
        if not mask.any() or mask.mean() > _MOST_SHARE:
            continue
        own = _closely(body, now, plates, plate, other, mask, asked, settings)
        # What it costs beyond what the plate loses anyway, in points that stand for areas alike.
        new = own & ~lost.get(plate.patch, np.zeros_like(own))
        area_mm2 = _drawn(plates, plate.patch).area_mm2()
        options.append((float(new.mean()) * area_mm2, plate.patch, own))
    options.sort(key=lambda row: row[:2])
    return [(patch, own) for _, patch, own in options]


def _closely(
    body: SkinBody,
    now: Mapping[str, RidingPlate],
    plates: Sequence[RidingPlate],
    plate: RidingPlate,
    other: str,
    mask: Bools,
    asked: AskedRange,
    settings: SweepSettings,
) -> Bools:
    """(N,) bool over a plate's fine places: those touched, looked at closely about known ones."""
    fine = _fine_on(plates, plate)
    spots = _as_drawn(plates, plate, plate.spots_mm)
    rough = spots[mask]
    about = _about(fine.places_mm, rough, _NEAR_MM)
    about = about[_within(rough, fine.places_mm[about], _NEAR_MM)]
    # Only between touched places and spared ones is there anything to find out.
    unsure = _within(spots[~mask], fine.places_mm[about], _NEAR_MM)
    touched: Bools = np.zeros(len(fine.places_mm), dtype=np.bool_)
    touched[about[~unsure]] = True
    touched[fine.tree.query(rough)[1]] = True
    tried = about[unsure]
    near = replace(plate, chosen_mm=_as_drawn(plates, plate, fine.places_mm[tried]))
    against = [near] if other == BODY else [near, now[other]]
    for found in sweep(body, against, [asked], settings, only=[(plate.name, other)])[0].contacts:
        own = found.touched if found.plate == plate.name else found.other_touched
        if own is not None:
            touched[tried[own]] = True
    return touched


@dataclass(frozen=True, slots=True, eq=False)
class _FinePlaces:
    """Places all over a mesh, (N, 3) float mm, about as far apart as it is looked at closely."""

    places_mm: Floats
    tree: cKDTree


@remembered
def _fine_places(mesh: TriangleMesh) -> _FinePlaces:
    """Return a mesh's fine places: its vertices, places along its edges and within its faces."""
    start, end = (mesh.vertices[column] for column in edges(mesh)[0].T)
    parts = int(np.clip(np.ceil(np.median(np.linalg.norm(end - start, axis=1)) / _FINE_MM), 1, 6))
    along = (np.arange(1, parts) / parts)[:, np.newaxis, np.newaxis]
    on_edges = start + along * (end - start)
    weights = [(i, j, parts - i - j) for i in range(1, parts) for j in range(1, parts - i)]
    inner = np.einsum("kc,fci->fki", np.array(weights).reshape(-1, 3) / parts, mesh.corners)
    places = np.vstack([mesh.vertices, on_edges.reshape(-1, 3), inner.reshape(-1, 3)])
    return _FinePlaces(places, cKDTree(places))


def _fine_on(plates: Sequence[RidingPlate], plate: RidingPlate) -> _FinePlaces:
    return _fine_places(_drawn(plates, plate.patch))


def _as_drawn(plates: Sequence[RidingPlate], plate: RidingPlate, points: Floats) -> Floats:
    """Return points of a plate where they lie on its patch as drawn, or the other way about."""
    return points * _MIRROR if _is_mirrored(plate, plates) else points


def _about(points: Floats, places: Floats, reach_mm: float) -> Ints:
    """Return the numbers of the points in the box of some places and a reach about it."""
    low, high = places.min(axis=0) - reach_mm, places.max(axis=0) + reach_mm
    return np.flatnonzero(((points > low) & (points < high)).all(axis=1))


def _within(places: Floats, points: Floats, reach_mm: float) -> Bools:
    """(N,) bool: whether any of the places is nearer to each point than a reach."""
    if len(places) == 0:
        return np.zeros(len(points), dtype=np.bool_)
    found: Bools = cKDTree(places).query(points, distance_upper_bound=reach_mm)[0] < np.inf
    return found


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
        kept = kept.mirrored()
    return replace(plate, mesh=kept)


def _cut(
    plates: Sequence[RidingPlate], patch: str, lost_places: Bools, margin_mm: float
) -> TriangleMesh | None:
    """Return what is left of a patch without some of its fine places and what lies about them.

    None where that would leave a hole within it, or too little.
    """
    mesh = _drawn(plates, patch)
    values = _outside_mm(mesh, lost_places, margin_mm)
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


def _outside_mm(mesh: TriangleMesh, lost: Bools, margin_mm: float) -> Floats:
    """(V,) float mm: how far each vertex lies outside lost places and the margin about them.

    What is touched ends midway between touched and spared places; half a look to either side is
    taken along. Where a disc rolled along the line on the plate does not reach, the plate goes too,
    and the line is evened out outwards, so that a snip can follow it. A spot smaller than the
    mesh's triangles takes the corner nearest to it along.
    """
    fine = _fine_places(mesh).places_mm
    touched, spared = fine[lost], fine[~lost]
    reach_mm = _FAR_MM + margin_mm
    near = _about(mesh.vertices, touched, reach_mm)
    beside = spared[_about(spared, touched, reach_mm)]
    if len(beside) == 0:
        return np.full(len(mesh.vertices), -_CORNER_MM)
    on_touched, on_beside = cKDTree(touched), cKDTree(beside)

    def apart_mm(places: Floats) -> Floats:
        outside = _capped(on_touched, places, reach_mm)
        inside: Floats = outside - _capped(on_beside, places, reach_mm)
        return inside - margin_mm - _FINE_MM

    apart = np.full(len(mesh.vertices), _FAR_MM - _FINE_MM)
    apart[near] = apart_mm(mesh.vertices[near])
    middles = beside[apart_mm(beside) >= _DISC_MM]
    if len(middles):
        # The places are a look apart, so the disc's middle may be that much farther off.
        rolled = _DISC_MM + _FINE_MM - _capped(cKDTree(middles), mesh.vertices[near], reach_mm)
        # Beyond what a disc amid the known places covers nothing says that the plate should go.
        known = apart[near] < _DISC_MM
        apart[near] = np.where(known, np.minimum(apart[near], rolled), apart[near])
    links = vertex_adjacency(mesh).tocsr()
    mean = np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1.0)
    even = apart
    for _ in range(_SMOOTHINGS):
        even = 0.5 * even + 0.5 * (links @ even) / mean
    outside: Floats = np.minimum(even, apart)
    return outside - max(float(outside.min()) + _CORNER_MM, 0.0)


def _capped(places: cKDTree, points: Floats, most_mm: float) -> Floats:
    """(N,) float mm: how far each point is from the nearest place, no more than the most."""
    off: Floats = np.minimum(places.query(points, distance_upper_bound=most_mm)[0], most_mm)
    return off


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
