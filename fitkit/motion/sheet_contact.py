"""One plate's places followed past another plate's sheet: how near, and whether through it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh_scene import MeshScene
from fitkit.geometry.rigid import RigidTransform

__all__ = ["SheetContact", "Track"]

# Farther apart than this nobody asks how far; nothing is looked up there.
_LOOK_MM = 15.0
_SEAM_MM = 0.05
_FEELER_REACH_MM = 4.5


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Where places are and what is known of them.

    Attributes
    ----------
    at_mm
        (S + R, 3) float mm in the other sheet's own frame: the places, then the rim's feelers.
    apart_mm
        (S + R,) float mm: none is nearer to the sheet than this.
    through
        (S + R,) bool: has come through the sheet.
    room_mm
        (S,) float mm: room left between the two sheets, below zero where one is in or past the
        other by more than at rest; infinite where there is plenty.
    """

    at_mm: Floats
    apart_mm: Floats
    through: Bools
    room_mm: Floats


class SheetContact:
    """A sheet that the places of another plate are moved about.

    Two sheets touch where their middles are half of both thicknesses apart. Sheets that lie
    closer at rest, as at a seam or a lap, may go on doing so: room is counted from there. A place
    whose way crosses the sheet has come through it and stays counted as past it. Rim may slip by
    rim unseen, so each place on the rim has a feeler a little way in, and is past the sheet when
    either the feeler is or the sheet passes between the two.

    Parameters
    ----------
    scene
        The sheet's middle.
    spots_mm, feelers_mm
        (S, 3) and (R, 3) float mm, at rest in the sheet's frame: the places, those of the rim
        first, and a feeler for each of those.
    thick_mm
        Half of both thicknesses together.
    """

    def __init__(
        self, scene: MeshScene, spots_mm: Floats, feelers_mm: Floats, thick_mm: float
    ) -> None:
        self._scene, self._thick_mm = scene, thick_mm
        self._spots, self._rim = len(spots_mm), len(feelers_mm)
        self._all_mm = np.vstack([spots_mm, feelers_mm])
        apart = np.linalg.norm(self._all_mm - scene.nearest_mm(self._all_mm), axis=1)
        self._closer_mm = np.maximum(thick_mm - apart, 0.0)
        # What touches or crosses the sheet from the start lies on neither side of it.
        self._sided: Bools = apart > _SEAM_MM
        self._sided[: self._rim] &= self._sided[self._spots :] & ~scene.crossed(
            feelers_mm, spots_mm[: self._rim]
        )
        room = (apart - thick_mm + self._closer_mm)[: self._spots]
        self.rest = Track(self._all_mm, apart, np.zeros(len(apart), dtype=np.bool_), room)

    def moved(self, before: Track, motion: RigidTransform) -> Track:
        """Return the track after a step to where a motion from rest takes the places.

        The step is taken straight, so it has to be small beside the sheet.
        """
        to_mm = motion.apply(self._all_mm)
        step = np.linalg.norm(to_mm - before.at_mm, axis=1)
        apart = before.apart_mm - step
        due = np.flatnonzero((apart < self._thick_mm + _LOOK_MM) | before.through)
        room = np.full(len(to_mm), np.inf)
        if len(due) == 0:
            return Track(to_mm, apart, before.through, room[: self._spots])
        through = before.through.copy()
        could = due[(before.apart_mm[due] <= step[due] + 1e-3) & self._sided[due]]
        could = could[could >= self._rim]
        through[could] ^= self._scene.crossed(before.at_mm[could], to_mm[could])
        apart[due] = np.linalg.norm(to_mm[due] - self._scene.nearest_mm(to_mm[due]), axis=1)
        rim = np.flatnonzero(self._sided[: self._rim] & (apart[: self._rim] < _FEELER_REACH_MM))
        feelers = self._spots + rim
        between = self._scene.crossed(to_mm[feelers], to_mm[rim])
        through[: self._rim] = through[self._spots :] & self._sided[: self._rim]
        through[rim] ^= between
        room[due] = np.where(
            through[due],
            -(apart[due] + self._thick_mm),
            apart[due] - self._thick_mm + self._closer_mm[due],
        )
        return Track(to_mm, apart, through, room[: self._spots])
