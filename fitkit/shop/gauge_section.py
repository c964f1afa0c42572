"""Two sections through a plate, to cut gauges of card by: across and upright."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.section import plane_sections

__all__ = ["GaugeSection", "gauge_sections"]

# A plate that goes round faces no one way; its gauges are taken where the blank's middle lies.
_FACES_ONE_WAY = 0.6
# A plate that faces up by more than this, as the cosine, lies level.
_LEVEL = 0.85
_HALFWAY = 0.1
# The ends of a section are together within this share of its length.
_TOGETHER = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class GaugeSection:
    """A section through the middle of a plate.

    Attributes
    ----------
    name
        ``"across"`` or ``"upright"``.
    points_mm
        (N, 2) float mm: from end to end, x along the chord, y outwards; the first at the origin. Of
        one that goes round, x to the wearer's side and y outwards.
    rise_mm
        How far the plate stands out from the chord, at most; less than zero where it is hollow.
        How deep it is, of one that goes round.
    goes_round
        Whether its ends come together, so that it has a width in place of a chord.
    """

    name: str
    points_mm: Floats
    rise_mm: float
    goes_round: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen_floats(self.points_mm, (None, 2), "points_mm"))

    @property
    def chord_mm(self) -> float:
        """From end to end, straight; how wide it is, of one that goes round."""
        if self.goes_round:
            return float(np.ptp(self.points_mm[:, 0]))
        return float(np.linalg.norm(self.points_mm[-1] - self.points_mm[0]))

    def in_words(self) -> str:
        """As beside its drawing: ``"across: chord 170, rise 39 mm"``."""
        if self.goes_round:
            words = f"wide {self.chord_mm:.0f}, deep {self.rise_mm:.0f}"
        else:
            way = "hollow" if self.rise_mm <= -0.5 else "rise"
            words = f"chord {self.chord_mm:.0f}, {way} {abs(self.rise_mm):.0f}"
        return f"{self.name}: {words} mm"


def gauge_sections(flat: FlatPatch) -> tuple[GaugeSection, ...]:
    """Return the sections across and upright through a plate's middle, at the sheet's middle."""
    form = flat.form
    areas = form.face_areas_mm2()
    scaled = form.face_normals_scaled()
    middles = form.corners.mean(axis=1)
    centre = areas @ middles / areas.sum()
    facing = scaled.sum(axis=0) / (2.0 * areas.sum())
    on_blank = flat.flat_mm[flat.faces].mean(axis=1)
    amid = int(np.linalg.norm(on_blank - areas @ on_blank / areas.sum(), axis=1).argmin())
    goes_round = np.linalg.norm(facing) < _FACES_ONE_WAY
    facing = scaled[amid] if goes_round else facing
    facing = facing / np.linalg.norm(facing)
    up = np.array([0.0, 0.0, 1.0])
    if goes_round or facing[2] < _LEVEL:
        # Level and plumb, as a maker holds it against the wearer.
        facing = facing - facing[2] * up
    else:
        up = np.array([0.0, -1.0, 0.0]) + facing[1] * facing
    facing, up = facing / np.linalg.norm(facing), up / np.linalg.norm(up)
    right = np.cross(up, facing)
    # Where the plate stands out furthest, halfway up it.
    height = (middles - centre) @ up
    halfway = np.abs(height) <= _HALFWAY * np.ptp(height)
    out = np.where(halfway, (middles - centre) @ facing, -np.inf)
    foremost = middles[int(np.argmax(out))]
    made = []
    across = plane_sections(form, centre, up)
    if across:
        made.append(_section("across", across[0].round_points_mm - centre, right, facing))
    # A sleeve is cut twice by an upright plane: the side that stands out is meant.
    upright = plane_sections(form, foremost, right)
    if upright:
        nearest = min(
            upright, key=lambda one: float(np.linalg.norm(one.points_mm - foremost, axis=1).min())
        )
        made.append(_section("upright", nearest.points_mm - centre, up, facing))
    return tuple(made)


def _section(name: str, off_mm: Floats, ahead: Floats, facing: Floats) -> GaugeSection:
    points = np.column_stack([off_mm @ ahead, off_mm @ facing])
    if points[0, 0] > points[-1, 0]:
        points = points[::-1]
    start, chord = points[0], points[-1] - points[0]
    length = float(np.linalg.norm(chord))
    whole = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    if length < _TOGETHER * whole:
        return GaugeSection(name, points - points[0], float(np.ptp(points[:, 1])), True)
    way = chord / length
    off = points - start
    laid = np.column_stack([off @ way, off @ np.array([-way[1], way[0]])])
    rise = float(laid[np.argmax(np.abs(laid[:, 1])), 1])
    return GaugeSection(name, laid, rise)
