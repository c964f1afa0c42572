"""A piece of padding or cover, flat: what its template shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["SoftPiece", "soft_piece"]


@dataclass(frozen=True, slots=True, eq=False)
class SoftPiece:
    """One soft piece, seen from its outer side, the wearer's up along +y.

    Attributes
    ----------
    name
        As written on it.
    material, thickness_mm
        What to cut it from.
    outline_mm
        (N, 2) float mm, counter-clockwise, its lower left at the origin: where to cut.
    holes_mm
        (M, 3) float mm: centre and diameter of what is punched out.
    lines
        Name and (N, 2) float mm of each line drawn on it.
    words
        Everything to be read besides its name, one fact a line.
    shown
        What its upper end points to on the wearer; empty for nothing.
    openings_mm
        (N, 2) float mm each: what is cut out of its middle.
    """

    name: str
    material: str
    thickness_mm: float
    outline_mm: Floats
    holes_mm: Floats
    lines: tuple[tuple[str, Floats], ...]
    words: tuple[str, ...]
    shown: str = "up"
    openings_mm: tuple[Floats, ...] = ()

    def __post_init__(self) -> None:
        outline = frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        object.__setattr__(self, "outline_mm", outline)
        object.__setattr__(self, "holes_mm", frozen_floats(self.holes_mm, (None, 3), "holes_mm"))

    def area_mm2(self) -> float:
        """Return its area, holes and openings left out."""
        discs = 0.25 * np.pi * float((self.holes_mm[:, 2] ** 2).sum())
        return float(shapely.Polygon(self.outline_mm, [*self.openings_mm]).area) - discs


def soft_piece(
    name: str,
    material: str,
    thickness_mm: float,
    outline: shapely.Polygon,
    *,
    holes_mm: Floats,
    lines: tuple[tuple[str, Floats], ...] = (),
    words: tuple[str, ...],
    shown: str = "up",
) -> SoftPiece:
    """Return a piece with its outline's lower left at the origin and all else moved along."""
    outline = shapely.orient_polygons(outline)
    ring = shapely.get_coordinates(outline.exterior)[:-1]
    corner = ring.min(axis=0)
    holes = np.reshape(holes_mm, (-1, 3)) - np.array([*corner, 0.0])
    moved = tuple((said, points - corner) for said, points in lines)
    openings = tuple(shapely.get_coordinates(one)[:-1] - corner for one in outline.interiors)
    return SoftPiece(
        name, material, thickness_mm, ring - corner, holes, moved, words, shown, openings
    )
