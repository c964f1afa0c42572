"""One plate's places followed past another plate's sheet: how near, and whether through it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from fitkit.geometry.surface_tree import Boxes, crosses, nearest_in, surface_tree
from fitkit.geometry.topology import border_vertices

__all__ = ["Graze", "SheetContact", "Track"]

# What is looked up is known this much farther than needed, so that it need not be soon again.
_AHEAD_MM = 25.0
_SEAM_MM = 0.05
_FEELER_REACH_MM = 4.5
# Between two looks the rim is followed in steps of a quarter of what counts as touching.
_GRAZE_SHARE, _GRAZE_MM = 0.25, (0.05, 0.25)
# A way is longer than its chord by less than this for a step of up to 15 degrees.
_ARC = 1.003


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Where places are and what is known of them.

    Attributes
    ----------
    at_mm
        (S + R, 3) float mm in the other sheet's own frame: the places, then the rim's feelers.
    apart_mm
        (S + R,) float mm: none is nearer to the sheet than this.
    face
        (S + R,) int: the triangle that was nearest when last looked up, -1 where none was.
    through
        (S + R,) bool: has come through the sheet.
    room_mm
        (S,) float mm: room left between the two sheets, below zero where one is in or past the
        other by more than at rest; infinite where it is more than elsewhere.
    """

    at_mm: Floats
    apart_mm: Floats
    face: Ints
    through: Bools
    room_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Graze:
    """What the rim met between two looks.

    Attributes
    ----------
    share
        After what share of the way, 0 to 1, it first did.
    at
        Number of the place.
    touched
        (S,) bool: places that did.
    depth_mm
        How far in at most.
    """

    share: float
    at: int
    touched: Bools
    depth_mm: float


class SheetContact:
    """A sheet that the places of another plate are moved about.

    Two sheets touch where their middles are half of both thicknesses apart. Sheets that lie
    closer at rest, as at a seam or a lap, may go on doing so: room is counted from there. A place
    whose way crosses the sheet has come through it and stays counted as past it. Rim may slip by
    rim unseen, so each place on the rim has a feeler a little way in, and is past the sheet when
    either the feeler is or the sheet passes between the two.

    Parameters
    ----------
    mesh
        The sheet's middle.
    spots_mm, feelers_mm
        (S, 3) and (R, 3) float mm, at rest in the sheet's frame: the places, those of the rim
        first, and a feeler for each of those.
    thick_mm
        Half of both thicknesses together.
    """

    def __init__(
        self, mesh: TriangleMesh, spots_mm: Floats, feelers_mm: Floats, thick_mm: float
    ) -> None:
        self._tree, self._thick_mm = surface_tree(mesh), thick_mm
        on_edge = border_vertices(mesh)[self._tree.faces]
        self._edge: Bools = np.asarray(on_edge.any(axis=1))
        self._spots, self._rim = len(spots_mm), len(feelers_mm)
        self._all_mm = np.vstack([spots_mm, feelers_mm])
        apart = self._tree.distance_mm(self._all_mm)
        self._closer_mm = np.maximum(thick_mm - apart, 0.0)
        # What touches or crosses the sheet from the start lies on neither side of it.
        self._sided: Bools = apart > _SEAM_MM
        rim = slice(0, self._rim)
        between = _all_crossed(self._tree.boxes, self._all_mm[self._spots :], self._all_mm[rim])
        self._sided[rim] &= self._sided[self._spots :] & ~between
        unknown, none = np.full(len(apart), -1), np.zeros(len(apart), dtype=np.bool_)
        room = (apart - thick_mm + self._closer_mm)[: self._spots]
        self.rest = Track(self._all_mm, apart, unknown, none, room)

    def moved(self, before: Track, motion: RigidTransform, most_room_mm: float) -> Track:
        """Return the track after a step to where a motion from rest takes the places.

        The step is taken straight, so it has to be small beside the sheet. Room is looked up
        where it is used up, and where it may be the least below the most that is asked for.
        """
        to_mm = motion.apply(self._all_mm)
        apart, face, through, room = _followed(
            self._tree.boxes,
            before.at_mm,
            to_mm,
            before.apart_mm,
            before.face,
            before.through,
            self._sided,
            self._closer_mm,
            self._thick_mm,
            most_room_mm,
            (self._spots, self._rim),
        )
        return Track(to_mm, apart, face, through, room)

    def grazed(
        self,
        before: Track,
        after: Track,
        motion_at: Callable[[float], RigidTransform],
        tolerance_mm: float,
    ) -> Graze | None:
        """Return what the rim meets on the way between two looks and may be past at both.

        Near the other's edge the distance rises and falls within one step. It changes no faster
        than a place moves: two looks that are together farther than its way plus twice what counts
        as touching leave no room for a touch, others are looked at half-way, again and again.

        Parameters
        ----------
        motion_at
            Returns the motion from rest after a share of the way, 0 to 1.
        """
        rim = slice(0, self._rim)
        touches = (self._thick_mm - self._closer_mm - tolerance_mm)[rim]
        stop = np.clip(_GRAZE_SHARE * touches, *_GRAZE_MM)
        way = _ARC * np.linalg.norm(after.at_mm[rim] - before.at_mm[rim], axis=1)
        start, end = before.apart_mm[rim], after.apart_mm[rim]
        near = self._by_edge(before.face[rim]) | self._by_edge(after.face[rim])
        near &= ~after.through[rim] & (touches > stop)
        own = np.flatnonzero(near & _may_touch(start, end, way, touches, stop))
        if len(own) == 0:
            return None
        low, high = np.zeros(len(own)), np.ones(len(own))
        start, end, way = start[own], end[own], way[own]
        touched = np.zeros(self._spots, dtype=np.bool_)
        depth, first, at = 0.0, np.inf, -1
        while len(own):
            half = 0.5 * (low + high)
            middle = np.empty(len(own))
            for share in np.unique(half):
                these = np.flatnonzero(half == share)
                places = motion_at(float(share)).apply(self._all_mm[own[these]])
                most = float((touches[own[these]] + way[these]).max())
                middle[these] = np.minimum(self._tree.distance_mm(places, most), most)
            met = np.flatnonzero(middle < touches[own])
            if len(met):
                touched[own[met]] = True
                depth = max(depth, float((touches[own] - middle)[met].max()))
                soonest = met[half[met].argmin()]
                if half[soonest] < first:
                    first, at = float(half[soonest]), int(own[soonest])
            way = 0.5 * way
            early = _may_touch(start, middle, way, touches[own], stop[own])
            late = _may_touch(middle, end, way, touches[own], stop[own])
            low, high = np.r_[low[early], half[late]], np.r_[half[early], high[late]]
            start, end = np.r_[start[early], middle[late]], np.r_[middle[early], end[late]]
            way, own = np.r_[way[early], way[late]], np.r_[own[early], own[late]]
        return Graze(first, at, touched, depth) if at >= 0 else None

    def _by_edge(self, faces: Ints) -> Bools:
        """(N,) bool: whether triangles lie along the sheet's edge, or are not known."""
        return self._edge[faces] | (faces < 0)


def _may_touch(start: Floats, end: Floats, way: Floats, touches: Floats, stop: Floats) -> Bools:
    """(N,) bool: whether a place so far off at both ends of a way may touch, or begin to, amid."""
    reaches = start + end - way < 2.0 * touches
    known = (start < touches) & (end < touches)
    may: Bools = reaches & ~known & (way > stop)
    return may


@compiled
def _all_crossed(boxes: Boxes, starts: Floats, ends: Floats) -> Bools:
    found = np.zeros(len(starts), np.bool_)
    for k in range(len(starts)):
        found[k] = _crosses(boxes, starts[k], ends[k])
    return found


@compiled
def _crosses(boxes: Boxes, a: Floats, b: Floats) -> bool:
    return bool(crosses(boxes, a[0], a[1], a[2], b[0], b[1], b[2]))


@compiled
def _followed(
    boxes: Boxes,
    from_mm: Floats,
    to_mm: Floats,
    apart_before: Floats,
    face_before: Ints,
    through_before: Bools,
    sided: Bools,
    closer: Floats,
    thick: float,
    least: float,
    counts: tuple[int, int],
) -> tuple[Floats, Ints, Bools, Floats]:
    spots, rim = counts
    apart, nearest, through = apart_before.copy(), face_before.copy(), through_before.copy()
    room = np.full(spots, np.inf)
    step = np.empty(len(apart))
    for k in range(len(apart)):
        square = 0.0
        for axis in range(3):
            square += (to_mm[k, axis] - from_mm[k, axis]) ** 2
        step[k] = np.sqrt(square)
        apart[k] -= step[k]
    for k in range(rim, len(apart)):
        if sided[k] and apart_before[k] <= step[k] + 1e-3 and _crosses(boxes, from_mm[k], to_mm[k]):
            through[k] = not through[k]
    for k in range(rim):
        feeler = spots + k
        through[k] = through[feeler] and sided[k]
        if sided[k] and apart[k] < _FEELER_REACH_MM and _crosses(boxes, to_mm[feeler], to_mm[k]):
            through[k] = not through[k]
    # First the place that is likely to have the least room: most others need no look then.
    likely = 0
    for k in range(spots):
        if apart[k] + closer[k] < apart[likely] + closer[likely]:
            likely = k
    for turn in range(-1 if spots else 0, len(apart)):
        k = likely if turn < 0 else turn
        # A feeler's distance only tells when its way may cross the sheet.
        needed = thick - closer[k] + max(least, 0.0) if k < spots else 0.0
        past = through[k] and k < spots
        if (apart[k] > needed and not past) or turn == likely:
            continue
        most = np.inf if past else max(needed, step[k]) + _AHEAD_MM
        square, face, _ = nearest_in(
            boxes, to_mm[k, 0], to_mm[k, 1], to_mm[k, 2], most * most, nearest[k]
        )
        apart[k], nearest[k] = np.sqrt(square), face
        if k < spots and face >= 0:
            if through[k]:
                room[k] = -(apart[k] + thick)
            else:
                room[k] = apart[k] - thick + closer[k]
            least = min(least, room[k])
    return apart, nearest, through, room
