"""What the bundle adjustment knows and seeks: measured rows, and the unknowns they tie together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from fitkit.geometry.arrays import Bools, Floats, Ints

__all__ = ["GROWTH", "LENS_PARAMETERS", "LensPriors", "Network", "Sightings"]

LENS_PARAMETERS = 7
"""``focal, centre x, centre y, k1, k2, p1, p2``, in this order."""
GROWTH = 6
"""Place of the growth among a camera's seven unknowns (turn, shift, growth)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sightings:
    """What was measured, N rows sorted by camera, then sheet.

    Attributes
    ----------
    camera, sheet
        (N,) int: which camera saw which sheet.
    points_mm
        (N, 3) float mm: the printed point, sheet frame.
    pixels_px
        (N, 2) float px: where it was measured.
    directions
        (N, 2) float: unit vector in the photo along which the measurement counts.
    grows
        (N,) float: 1 for the edges of black squares, with outward direction; 0 for saddles.
    sigma_px
        (N,) float px: standard deviation of the measurement.
    """

    camera: Ints
    sheet: Ints
    points_mm: Floats
    pixels_px: Floats
    directions: Floats
    grows: Floats
    sigma_px: Floats

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.camera)

    def where(self, keep: Bools | Ints) -> Sightings:
        """Return the rows for which ``keep`` is True, or those of its numbers, in their order."""
        return Sightings(
            self.camera[keep],
            self.sheet[keep],
            self.points_mm[keep],
            self.pixels_px[keep],
            self.directions[keep],
            self.grows[keep],
            self.sigma_px[keep],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """The unknowns: L lenses, C cameras, S sheets.

    Attributes
    ----------
    lenses
        (L, 7) float, see :data:`LENS_PARAMETERS`.
    lens_of_camera
        (C,) int.
    camera_rotations, camera_shifts_mm
        (C, 3, 3) and (C, 3): ``camera_from_world``.
    growths_px
        (C,) float px.
    sheet_rotations, sheet_shifts_mm
        (S, 3, 3) and (S, 3): ``world_from_sheet``.
    """

    lenses: Floats
    lens_of_camera: Ints
    camera_rotations: Floats
    camera_shifts_mm: Floats
    growths_px: Floats
    sheet_rotations: Floats
    sheet_shifts_mm: Floats

    def centres_mm(self) -> Floats:
        """(C, 3) float mm: where the cameras stood."""
        centres: Floats = -np.einsum("cji,cj->ci", self.camera_rotations, self.camera_shifts_mm)
        return centres

    def moved(self, lens_steps: Floats, camera_steps: Floats, sheet_steps: Floats) -> Network:
        """Return the network after steps (L, 7), (C, 7) and (S, 6)."""
        return replace(
            self,
            lenses=self.lenses + lens_steps,
            camera_rotations=_turns(camera_steps[:, :3]) @ self.camera_rotations,
            camera_shifts_mm=self.camera_shifts_mm + camera_steps[:, 3:6],
            growths_px=self.growths_px + camera_steps[:, GROWTH],
            sheet_rotations=_turns(sheet_steps[:, :3]) @ self.sheet_rotations,
            sheet_shifts_mm=self.sheet_shifts_mm + sheet_steps[:, 3:6],
        )


@dataclass(frozen=True, slots=True, eq=False)
class LensPriors:
    """What is believed before measuring: lens values (L, 7) with deviations (L, 7).

    A deviation of 0 holds the value fixed. ``growth_sigma_px`` is that of the growth of
    black squares about 0.
    """

    values: Floats
    sigmas: Floats
    growth_sigma_px: float = 0.3


def _turns(vectors: Floats) -> Floats:
    matrices: Floats = Rotation.from_rotvec(vectors).as_matrix()
    return matrices
