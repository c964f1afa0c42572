"""Dividing and joining patches of a cylinder."""

from __future__ import annotations

from math import pi, radians

import pytest

from fitkit.errors import DesignError
from fitkit.patch.cut_patches import cut_patches
from fitkit.patch.design import (
    Anchor,
    GeodesicLine,
    HeightAnchor,
    LevelLine,
    PatchDesign,
    RoundLine,
    SymmetryLine,
    TapeLineDesign,
)
from fitkit.patch.divided import PatchPart, bounding_lines, divided_patch, joined_patches
from fitkit.patch.line_network import lay_tape_lines
from tests.patch.upright import cylinder_form

CYLINDER = cylinder_form()
LINES: tuple[TapeLineDesign, ...] = (
    LevelLine("low", height_mm=100),
    LevelLine("mid", height_mm=200),
    LevelLine("high", height_mm=300),
    SymmetryLine("middle"),
    GeodesicLine("left", (HeightAnchor(80, pi / 2), HeightAnchor(320, pi / 2))),
    GeodesicLine("stub", (HeightAnchor(80, 1.0), HeightAnchor(220, 1.0))),
    RoundLine("disc", HeightAnchor(200, radians(225)), 30.0),
)
LAID = lay_tape_lines(CYLINDER, LINES)
QUARTER = PatchDesign("quarter", ("low", "high", "middle", "left"), HeightAnchor(150, 0.5))


def area(part: PatchPart) -> float:
    design = PatchDesign("part", part.boundary, part.inside[0], more_inside=part.inside[1:])
    (patch,) = cut_patches(CYLINDER, LAID, [design])
    assert len(patch.loops) == part.rims
    return patch.mesh.area_mm2()


WALL = 2 * pi * 100


def test_region_names_the_lines_round_it() -> None:
    """A line that ends inside is none of them."""
    part = bounding_lines(CYLINDER, LAID, PatchDesign("p", (), HeightAnchor(250, 0.5)))
    assert set(part.boundary) == {"mid", "high", "middle", "left"}
    with pytest.raises(DesignError, match="No tape line runs round"):
        bounding_lines(CYLINDER, (), PatchDesign("p", (), HeightAnchor(250, 0.5)))


def test_dividing_gives_two_parts_that_fill_the_patch() -> None:
    old, new = divided_patch(CYLINDER, LAID, QUARTER, "mid")
    assert set(old.boundary) == {"low", "mid", "middle", "left"}
    assert set(new.boundary) == {"mid", "high", "middle", "left"}
    assert old.inside == (QUARTER.inside,)
    assert area(old) == pytest.approx(WALL / 4 * 100, rel=3e-3)
    assert area(new) == pytest.approx(WALL / 4 * 100, rel=3e-3)
    # The place found inside is told as a maker would.
    assert isinstance(new.inside[0], HeightAnchor)
    assert 220 < new.inside[0].height_mm < 280


def test_sleeve_divides_across_and_along() -> None:
    sleeve = PatchDesign("sleeve", ("low", "high"), HeightAnchor(150, 3.0), seams=("left",))
    old, new = divided_patch(CYLINDER, LAID, sleeve, "mid")
    assert (old.boundary, new.boundary) == (("low", "mid"), ("mid", "high"))
    assert (old.rims, new.rims) == (2, 2)
    old, new = divided_patch(CYLINDER, LAID, sleeve, "middle")
    assert (old.rims, new.rims) == (1, 1)
    assert area(old) == pytest.approx(area(new), rel=1e-3)


def test_anchor_on_the_dividing_line_gives_way_to_one_beside_it() -> None:
    on_line = PatchDesign("p", ("low", "high", "left", "middle"), HeightAnchor(200.0, 0.7))
    old, new = divided_patch(CYLINDER, LAID, on_line, "mid")
    assert old.inside != (on_line.inside,)
    assert area(old) + area(new) == pytest.approx(WALL / 4 * 200, rel=3e-3)


@pytest.mark.parametrize(
    ("along", "cause"),
    [
        ("stub", "the line 'stub' does not divide it"),
        ("disc", "the line 'disc' does not divide it"),
        ("zip", "no tape line 'zip'"),
    ],
)
def test_line_that_does_not_divide_is_refused(along: str, cause: str) -> None:
    with pytest.raises(DesignError, match=cause):
        divided_patch(CYLINDER, LAID, QUARTER, along)


def test_line_that_makes_three_parts_is_refused() -> None:
    places = tuple(HeightAnchor(h, b) for h, b in ((80, 1.7), (250, 2.2), (80, 2.7)))
    laid = lay_tape_lines(CYLINDER, (*LINES, GeodesicLine("tent", places)))
    lower = PatchDesign("lower", ("low", "mid", "left", "middle"), HeightAnchor(150, 2.9))
    with pytest.raises(DesignError, match="the line 'tent' makes 3 parts"):
        divided_patch(CYLINDER, laid, lower, "tent")


def quarter(low: str, high: str, inside: Anchor) -> PatchDesign:
    return PatchDesign(f"{low}-{high}", (low, high, "middle", "left"), inside)


def test_joining_undoes_dividing() -> None:
    first, second = (
        quarter("low", "mid", HeightAnchor(150, 0.5)),
        quarter("mid", "high", HeightAnchor(250, 0.5)),
    )
    whole = joined_patches(CYLINDER, LAID, first, second)
    assert set(whole.boundary) == {"low", "high", "middle", "left"}
    assert whole.inside == (first.inside,)
    assert area(whole) == pytest.approx(WALL / 4 * 200, rel=3e-3)


def test_line_that_still_bounds_elsewhere_keeps_a_place_on_both_its_sides() -> None:
    """Two patches in an L: the level between them bounds the longer one farther on.

    The side line, an edge of the short one, runs on through the long one: three pieces.
    """
    short = quarter("mid", "high", HeightAnchor(250, 0.5))
    long = PatchDesign("half", ("low", "mid", "middle"), HeightAnchor(150, 0.5))
    whole = joined_patches(CYLINDER, LAID, short, long)
    assert set(whole.boundary) == {"low", "mid", "high", "middle", "left"}
    assert len(whole.inside) == 3
    assert area(whole) == pytest.approx(WALL * 100 * (0.25 + 0.5), rel=3e-3)


def test_patches_apart_are_not_joined() -> None:
    first = quarter("low", "mid", HeightAnchor(150, 0.5))
    second = PatchDesign("disc", ("disc",), HeightAnchor(200, radians(225)))
    with pytest.raises(DesignError, match="do not lie beside each other"):
        joined_patches(CYLINDER, LAID, first, second)
