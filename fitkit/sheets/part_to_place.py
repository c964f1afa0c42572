"""A part as nesting sees it: its cut line, its openings and its grain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import shapely

from fitkit.body.side import Side
from fitkit.drawing.drawing import Drawing, Layer
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.template.template import Template, part_title

__all__ = ["PartToPlace", "parts_to_place"]


@dataclass(frozen=True, slots=True, eq=False)
class PartToPlace:
    """One part to cut, once.

    Attributes
    ----------
    number, name, side
        As on the template.
    material, thickness_mm
        What to cut it from.
    outline_mm
        (N, 2) float mm, counter-clockwise: where to cut, in the template's own coordinates.
    openings_mm
        Outlines, (N, 2) float mm each, of what is cut out of it: other parts may lie there.
    drilled_mm
        (H, 3) float mm: centre and diameter of the holes to drill.
    grain_rad
        Direction on the part that must lie along the sheet's grain; None when it may lie anyhow.
    """

    number: int
    name: str
    side: Side
    material: str
    thickness_mm: float
    outline_mm: Floats
    openings_mm: tuple[Floats, ...] = ()
    drilled_mm: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    grain_rad: float | None = None

    def __post_init__(self) -> None:
        outline = frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        object.__setattr__(self, "outline_mm", outline)
        openings = tuple(frozen_floats(one, (None, 2), "openings_mm") for one in self.openings_mm)
        object.__setattr__(self, "openings_mm", openings)
        drilled = np.reshape(np.asarray(self.drilled_mm, dtype=np.float64), (-1, 3))
        object.__setattr__(self, "drilled_mm", frozen_floats(drilled, (None, 3), "drilled_mm"))

    @property
    def title(self) -> str:
        """Name with side: ``"shoulder cap, left"``."""
        return part_title(self.name, self.side)

    def polygon(self) -> shapely.Polygon:
        """Return what the part covers on the sheet, openings left out.

        A cut line that crosses itself gives all that it covers.
        """
        whole = shapely.Polygon(self.outline_mm, [*self.openings_mm])
        if whole.is_valid:
            return whole
        pieces = shapely.get_parts(shapely.make_valid(whole))
        covered = [piece for piece in pieces if piece.geom_type == "Polygon"]
        return max(covered, key=lambda piece: float(piece.area))

    @property
    def area_mm2(self) -> float:
        """Area of the blank: its cut line less its openings."""
        return float(self.polygon().area)

    @property
    def finished_area_mm2(self) -> float:
        """Area less the drilled holes too: what is weighed."""
        holes = 0.25 * np.pi * float((self.drilled_mm[:, 2] ** 2).sum())
        return self.area_mm2 - holes

    @property
    def cut_length_mm(self) -> float:
        """Length of all cuts, outline and openings."""
        return float(self.polygon().length)


def parts_to_place(templates: Iterable[Template]) -> tuple[PartToPlace, ...]:
    """Return the part of every template, in order."""
    return tuple(_part(template) for template in templates)


def _part(template: Template) -> PartToPlace:
    drawing = template.drawing
    return PartToPlace(
        number=template.number,
        name=template.name,
        side=template.side,
        material=template.material,
        thickness_mm=template.thickness_mm,
        outline_mm=template.outline_mm,
        openings_mm=_openings(drawing, template.outline_mm),
        drilled_mm=np.array([[*hole.centre_mm, hole.diameter_mm] for hole in drawing.holes]),
        grain_rad=_grain(drawing),
    )


def _openings(drawing: Drawing, outline_mm: Floats) -> tuple[Floats, ...]:
    """Return the closed cut lines that lie inside the part's own."""
    whole = shapely.Polygon(outline_mm).buffer(0)
    shapely.prepare(whole)
    rings = [s.points_mm for s in drawing.strokes if s.layer is Layer.CUT and s.closed]
    area = float(whole.area)
    return tuple(
        ring
        for ring in rings
        if len(ring) >= 3
        and shapely.Polygon(ring).is_valid
        and shapely.Polygon(ring).area < 0.999 * area
        and whole.contains(shapely.Polygon(ring))
    )


def _grain(drawing: Drawing) -> float | None:
    for stroke in drawing.strokes:
        if stroke.layer is Layer.GRAIN:
            way = stroke.points_mm[-1] - stroke.points_mm[0]
            return float(np.arctan2(way[1], way[0]))
    return None
