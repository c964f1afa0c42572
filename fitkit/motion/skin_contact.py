"""A plate's places followed over the moving skin: how far above it, or pressed into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh_scene import MeshScene

__all__ = ["PosedSkin", "SkinContact", "SkinTrack"]

_LOOK_MM = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class PosedSkin:
    """A part of the skin in a pose.

    ``places_mm`` (V, 3) float mm; ``edge`` (F,) bool: faces at that part's border, beyond
    which the skin goes on.
    """

    scene: MeshScene
    places_mm: Floats
    edge: Bools

    def above_mm(self, points_mm: Floats) -> Floats:
        """(N,) float mm: height above the skin, below zero inside; beyond its border never so."""
        beside, face = self.scene.beside_nearest_mm(points_mm)
        above: Floats = np.where(self.edge[face], np.abs(beside), beside)
        return above


@dataclass(frozen=True, slots=True, eq=False)
class SkinTrack:
    """Where skin and places are, and what is known of them.

    ``at_mm`` (S, 3) float mm; ``apart_mm`` (S,) float mm, which no place is nearer than;
    ``room_mm`` (S,) float mm, infinite where there is plenty.
    """

    skin: PosedSkin
    at_mm: Floats
    apart_mm: Floats
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
        above = skin.above_mm(spots_mm)
        self._spare_mm = soft_mm - half_mm
        self._deeper_mm = np.maximum(-(above + self._spare_mm), 0.0)
        room = above + self._spare_mm + self._deeper_mm
        self.rest = SkinTrack(skin, spots_mm, np.abs(above), room)

    def moved(self, before: SkinTrack, to_mm: Floats, skin: PosedSkin) -> SkinTrack:
        """Return the track after a step of places and skin."""
        skin_mm = np.linalg.norm(skin.places_mm - before.skin.places_mm, axis=1).max(initial=0.0)
        step = np.linalg.norm(to_mm - before.at_mm, axis=1) + skin_mm
        apart = before.apart_mm - step
        due = np.flatnonzero(apart < _LOOK_MM)
        room = np.full(len(to_mm), np.inf)
        if len(due):
            above = skin.above_mm(to_mm[due])
            apart[due] = np.abs(above)
            room[due] = above + self._spare_mm + self._deeper_mm[due]
        return SkinTrack(skin, to_mm, apart, room)
