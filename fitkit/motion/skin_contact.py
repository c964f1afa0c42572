"""A plate's places followed over the moving skin: how far above it, or pressed into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.geometry.surface_tree import Boxes, SurfaceTree, nearest_in

__all__ = ["PosedSkin", "SkinContact", "SkinTrack"]

_AHEAD_MM = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class PosedSkin:
    """A part of the skin in a pose.

    ``places_mm`` (V, 3) float mm; ``edge`` (F,) bool, as in the tree: faces at that part's border,
    beyond which the skin goes on.
    """

    tree: SurfaceTree
    places_mm: Floats
    edge: Bools


@dataclass(frozen=True, slots=True, eq=False)
class SkinTrack:
    """Where skin and places are, and what is known of them.

    ``at_mm`` (S, 3) float mm; ``above_mm`` (S,) float mm, no place is lower over the skin than
    this, and those below zero are inside it; ``face`` (S,) int: the triangle that was nearest when
    last looked up, -1 where none was; ``room_mm`` (S,) float mm, infinite where it is more than
    elsewhere.
    """

    skin: PosedSkin
    at_mm: Floats
    above_mm: Floats
    face: Ints
    room_mm: Floats


class SkinContact:
    """The skin that moves about one plate.

    Room is counted from where the plate's inside would press the flesh in by what it gives; where
    it lies deeper at rest, from there. Skin that goes with the plate keeps its distance and is left
    out by whoever hands the skin in.

    Parameters
    ----------
    skin
        At rest.
    spots_mm
        (S, 3) float mm: the plate's places at rest.
    half_mm
        Half the sheet's thickness.
    soft_mm
        How far flesh gives way before it counts as pinched.
    """

    def __init__(
        self, skin: PosedSkin, spots_mm: Floats, *, half_mm: float, soft_mm: float
    ) -> None:
        nowhere, unknown = np.full(len(spots_mm), -np.inf), np.full(len(spots_mm), -1)
        still, at_mm = np.zeros(len(spots_mm)), spots_mm.copy()
        above, face, _ = _above(
            skin.tree.boxes, skin.edge, at_mm, nowhere, unknown, still, still, np.inf
        )
        self._spare_mm = soft_mm - half_mm + np.maximum(half_mm - soft_mm - above, 0.0)
        self.rest = SkinTrack(skin, at_mm, above, face, above + self._spare_mm)

    def moved(
        self, before: SkinTrack, to_mm: Floats, skin: PosedSkin, most_room_mm: float
    ) -> SkinTrack:
        """Return the track after a step of places and skin.

        Room is looked up where it is used up, and where it may be the least below the most that
        is asked for.
        """
        skin_mm = np.linalg.norm(skin.places_mm - before.skin.places_mm, axis=1).max(initial=0.0)
        step = np.linalg.norm(to_mm - before.at_mm, axis=1) + skin_mm
        above, face, room = _above(
            skin.tree.boxes,
            skin.edge,
            to_mm,
            before.above_mm,
            before.face,
            step,
            self._spare_mm,
            most_room_mm,
        )
        return SkinTrack(skin, to_mm, above, face, room)


@compiled
def _above(
    boxes: Boxes,
    edge: Bools,
    at_mm: Floats,
    before: Floats,
    face_before: Ints,
    step: Floats,
    spare: Floats,
    least: float,
) -> tuple[Floats, Ints, Floats]:
    """Return heights over the skin, below zero inside, nearest triangles, and the room left.

    Inside and outside are told by the nearest face: a skin that folds into itself has no inside
    to count. Beyond the border of the part that is looked at a place is never inside.
    """
    above, nearest, room = before - step, face_before.copy(), np.full(len(at_mm), np.inf)
    likely = 0
    for k in range(len(at_mm)):
        if above[k] + spare[k] < above[likely] + spare[likely]:
            likely = k
    for turn in range(-1 if len(at_mm) else 0, len(at_mm)):
        k = likely if turn < 0 else turn
        needed = max(least, 0.0) - spare[k]
        if (above[k] > 0.0 and above[k] > needed) or turn == likely:
            continue
        most = max(needed, 0.0) + step[k] + _AHEAD_MM if before[k] > 0.0 else np.inf
        square, face, before_mm = nearest_in(
            boxes, at_mm[k, 0], at_mm[k, 1], at_mm[k, 2], most * most, nearest[k]
        )
        above[k], nearest[k] = np.sqrt(square), face
        if face < 0:
            continue
        if before_mm < 0.0 and not edge[face]:
            above[k] = -above[k]
        room[k] = above[k] + spare[k]
        least = min(least, room[k])
    return above, nearest, room
