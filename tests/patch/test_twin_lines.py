from __future__ import annotations

from math import radians

from fitkit.patch.design import (
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    LineAnchor,
    MirroredLine,
    SymmetryLine,
    ThroughLine,
)
from fitkit.patch.twin_lines import twin_lines


def at(height: float, degrees: float) -> HeightAnchor:
    return HeightAnchor(height, radians(degrees))


MIDDLE, WAIST = SymmetryLine("middle"), LevelLine("waist", height_mm=1075)
NECK = ThroughLine("neck", (at(1362, 0), at(1420, 90), at(1398, 180), at(1420, 270)), closed=True)
LEFT = GeodesicLine("left side", (at(1060, 95), LandmarkAnchor("left armpit")))
RIGHT = GeodesicLine("far seam", (LandmarkAnchor("right armpit"), at(1060, 265)))


def test_lines_alike_on_both_sides_are_their_own() -> None:
    twins, added = twin_lines([MIDDLE, WAIST, NECK], ["middle", "waist", "neck"])
    assert twins == {"middle": "middle", "waist": "waist", "neck": "neck"}
    assert added == ()


def test_a_line_drawn_on_the_other_side_is_taken_whatever_its_name_and_way() -> None:
    assert twin_lines([LEFT, RIGHT], ["left side"]) == ({"left side": "far seam"}, ())


def test_a_line_without_its_mirrored_one_gets_it() -> None:
    twins, added = twin_lines([LEFT], ["left side"])
    assert twins == {"left side": "right side"}
    assert added == (MirroredLine("right side", "left side"),)
    twins, added = twin_lines([LEFT, *added], ["left side", "right side"])
    assert twins == {"left side": "right side", "right side": "left side"}
    assert added == ()


def test_what_a_line_leans_on_is_mirrored_first() -> None:
    cross = GeodesicLine("strap", (LineAnchor("edge", 0.5), at(1200, 40)))
    edge = ThroughLine("edge", (at(1100, 20), at(1150, 60)))
    twins, added = twin_lines([cross, edge], ["strap"])
    assert [line.name for line in added] == ["edge, other side", "strap, other side"]
    assert twins["strap"] == "strap, other side"
