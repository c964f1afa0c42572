"""Pieces of straps: lengths, holes, folds and how far they can be set."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely

from fitkit.holding.strap_design import StrapDesign
from fitkit.holding.strap_pieces import (
    bar_mm,
    end_mm,
    fit_strap,
    hole_mm,
    least_pitch_mm,
    tape_mm,
    too_short_mm,
)
from fitkit.materials.rivet import rivet_named
from fitkit.patch.design import PointAnchor

HERE = PointAnchor(0.0, 0.0, 0.0)
DESIGN = StrapDesign("side strap", ("front", "back"), (HERE, HERE))
RIVET = rivet_named(DESIGN.rivets)


def test_holes_take_in_bare_and_padded_wearer_and_the_play() -> None:
    """Worn 131.25 mm to the bar; bare it is 24 shorter, play 10 both ways: 97.25 to 141.25 mm.

    Holes every 20 mm with one at the worn length: two below (91.25) and one above (151.25).
    """
    fit = fit_strap(DESIGN, 150.0, -24.0)
    setting, strap = fit.setting, fit.pieces[0]
    assert setting.worn_mm == pytest.approx(150.0 - bar_mm(25.0))
    assert (setting.shortest_mm, setting.longest_mm) == pytest.approx((97.25, 141.25))
    assert setting.reach_mm == pytest.approx((91.25, 151.25))
    set_by = np.sort(strap.holes_mm[strap.holes_mm[:, 2] == hole_mm(DESIGN)][:, 0])
    assert np.diff(set_by) == pytest.approx(20.0)
    assert set_by - end_mm(RIVET) == pytest.approx([91.25, 111.25, 131.25, 151.25])
    assert strap.worn_hole == 3
    # Rivets 2.5 D from the end and 5 D apart, beyond the last hole 2.5 widths.
    assert np.sort(strap.holes_mm[:, 0])[:2] == pytest.approx([10.0, 30.0])
    assert strap.length_mm == pytest.approx(30.0 + 151.25 + 62.5)


def test_range_that_ends_on_a_hole_gets_no_hole_more() -> None:
    design = dataclasses.replace(DESIGN, play_mm=20.0)
    fit = fit_strap(design, 150.0, -20.0)
    worn = fit.setting.worn_mm
    assert fit.setting.reach_mm == pytest.approx((worn - 40.0, worn + 20.0))


@pytest.mark.parametrize("width", [15.0, 25.0, 40.0])
def test_buckle_end_folds_so_that_its_rivet_holes_meet(width: float) -> None:
    """Both halves lie on the same rivets: holes in pairs about the fold.

    Half round the bar the leather's middle goes pi (4 + 3) / 2 mm.
    """
    design = dataclasses.replace(DESIGN, width_mm=width)
    piece = fit_strap(design, 150.0, 0.0).pieces[1]
    assert piece.fold_mm == pytest.approx(0.5 * piece.length_mm)
    from_fold = np.sort(piece.holes_mm[:, 0] - piece.length_mm / 2.0)
    assert from_fold == pytest.approx(-from_fold[::-1])
    nearest = np.abs(from_fold[np.isclose(piece.holes_mm[np.argsort(piece.holes_mm[:, 0])][:, 2],
                                          RIVET.hole_mm[0])]).min()  # fmt: skip
    assert nearest == pytest.approx(bar_mm(width) + 0.25 * math.pi * 7.0)
    assert piece.slot_mm is not None
    assert np.ptp(piece.slot_mm[:, 0]) >= 0.8 * width - 1e-9


def test_post_goes_through_holes_of_its_own_size() -> None:
    design = dataclasses.replace(DESIGN, closing="post")
    fit = fit_strap(design, 150.0, -10.0)
    assert len(fit.pieces) == 1
    assert fit.setting.worn_mm == 150.0
    assert hole_mm(design) == rivet_named("post 5").hole_mm[0]
    assert "slit" in " ".join(fit.pieces[0].words)


def test_tape_lies_on_tape_at_both_ends_of_the_range() -> None:
    """Let out by the play 50 mm of tape still meet; taken in, the strap's tape covers all below."""
    design = dataclasses.replace(DESIGN, closing="hook and loop", play_mm=15.0)
    fit = fit_strap(design, 150.0, -30.0)
    (piece,) = fit.pieces
    assert piece.tape_mm is not None
    # From the nearest rivet, as worn; let out it moves outwards from the tape below.
    start, end = np.array(piece.tape_mm) - end_mm(RIVET)
    below = fit.setting.worn_mm, fit.setting.worn_mm + tape_mm(design)

    def meets(longer_mm: float) -> float:
        return min(end - longer_mm, below[1]) - max(start - longer_mm, below[0])

    assert meets(15.0) == pytest.approx(50.0)
    assert meets(0.0) == pytest.approx(tape_mm(design))
    assert meets(-45.0) == pytest.approx(tape_mm(design))


def test_what_breaks_a_rule_is_measured() -> None:
    near = fit_strap(DESIGN, 70.0, -30.0)
    assert too_short_mm(DESIGN, near.setting) > 0
    assert too_short_mm(DESIGN, fit_strap(DESIGN, 200.0, -30.0).setting) == 0.0
    assert least_pitch_mm(DESIGN) == 3.0 * hole_mm(DESIGN)


@pytest.mark.parametrize("closing", ["buckle", "post", "hook and loop"])
def test_outlines_are_whole_and_holes_lie_well_inside(closing: str) -> None:
    design = dataclasses.replace(DESIGN, closing=closing)  # type: ignore[arg-type]
    for piece in fit_strap(design, 150.0, -12.0).pieces:
        outline = shapely.Polygon(piece.outline_mm)
        assert outline.is_valid
        assert outline.exterior.is_ccw
        for x, y, diameter in piece.holes_mm:
            hole = shapely.Point(x, y).buffer(0.5 * diameter + 5.0)
            assert outline.contains(hole)
