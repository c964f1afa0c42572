"""Lames fill their room, take even shares of the turn, and slide as far as a chord says."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.errors import DesignError
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.lames import LameRow, check_lames, lame_count, lame_shares, lay_strips
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.skin_body import SkinBody
from tests.motion.simple_plates import hinge, plate, tube


@given(
    length=st.floats(60, 400), count=st.integers(1, 9), overlap=st.floats(0, 20)
)  # fmt: skip
def test_strips_are_of_one_width_and_reach_from_line_to_line(
    length: float, count: int, overlap: float
) -> None:
    if count > 1 and (length + (count - 1) * overlap) / count <= overlap:
        return
    strips = lay_strips(length, count, overlap)
    assert len(strips) == count
    assert strips[0].start_mm == 0
    assert strips[-1].end_mm == pytest.approx(length)
    widths = [strip.end_mm - strip.start_mm for strip in strips]
    assert np.ptp(widths) < 1e-9
    for before, after in pairwise(strips):
        assert before.end_mm - after.start_mm == pytest.approx(overlap)


def test_strips_that_would_be_all_overlap_are_refused() -> None:
    with pytest.raises(DesignError, match="10 lames over 40 mm would be 40 mm wide"):
        lay_strips(40.0, 10, 40.0)
    with pytest.raises(DesignError, match="cannot be laid out"):
        lay_strips(100.0, 0, 10.0)


@pytest.mark.parametrize(
    ("turn_deg", "reach", "overlap"), [(120, 55, 20), (90, 70, 16), (30, 40, 25)]
)
def test_the_count_is_the_least_whose_chord_stays_within_the_overlap(
    turn_deg: float, reach: float, overlap: float
) -> None:
    cover = 6.0
    count = lame_count(np.radians(turn_deg), reach, overlap, cover)

    def chord(lames: int) -> float:
        return float(2 * reach * np.sin(np.radians(turn_deg) / (2 * (lames + 1))))

    assert chord(count) <= overlap - cover + 1e-9
    assert count == 1 or chord(count - 1) > overlap - cover


def test_an_overlap_with_nothing_to_spare_is_refused() -> None:
    with pytest.raises(DesignError, match="leaves nothing to slide"):
        lame_count(1.0, 50.0, 6.0, 6.0)


def test_three_lames_take_a_quarter_of_the_turn_more_each() -> None:
    body, _ = hinge()
    shares = lame_shares(body.joints, "left elbow", 3)
    assert [share["left elbow"] for share in shares] == [0.25, 0.5, 0.75]
    with pytest.raises(DesignError, match="no joint called 'left toe'"):
        lame_shares(body.joints, "left toe", 2)


def row_on_an_elbow(
    overlap: float, gap: float
) -> tuple[LameRow, dict[str, RidingPlate], SkinBody, AskedRange]:
    body, asked = hinge(to_deg=90.0)
    shares = lame_shares(body.joints, "left elbow", 2)
    half = 0.5 * overlap
    meshes = {"first": tube(50, 50, -half, 40), "second": tube(49, 49, -40, half)}
    plates = {
        name: replace(plate(name, mesh, beyond=False), shares=share)
        for (name, mesh), share in zip(meshes.items(), shares, strict=True)
    }
    return LameRow("elbow", ("first", "second"), "left elbow", 3.5, gap), plates, body, asked


def test_a_slot_is_as_long_as_the_chord_and_the_hole() -> None:
    """Two lames share 90 degrees in three: 30 between them, at the slide's reach from the axis."""
    row, plates, body, asked = row_on_an_elbow(40.0, 60.0)
    made, findings = check_lames(row, plates, body.joints, [asked])
    assert findings == ()
    (one,) = made
    reach = float(np.hypot(one.slide_mm[1], one.slide_mm[2]))
    assert one.slot_mm == pytest.approx(2 * reach * np.sin(np.radians(15.0)) + 3.5, abs=0.05)
    # Pivots sit on the axis, one at each side of the arm.
    assert np.abs(one.pivots_mm[:, 1:]).max() < 5.5
    assert sorted(np.sign(one.pivots_mm[:, 0]).tolist()) == [-1.0, 1.0]


def test_a_gap_past_the_makers_limit_is_told() -> None:
    """With 6 mm of overlap an edge that moves 26 mm comes out by about 20 at the far side."""
    row, plates, body, asked = row_on_an_elbow(6.0, 2.0)
    made, findings = check_lames(row, plates, body.joints, [asked])
    assert [finding.code for finding in findings] == ["lames-gap"]
    moved = 2 * 49 * np.sin(np.radians(15.0))
    assert moved - 6.0 - 3.0 < made[0].gap_mm < moved


def test_lames_that_do_not_overlap_or_are_not_moved_are_told() -> None:
    row, plates, body, asked = row_on_an_elbow(-30.0, 2.0)
    assert [one.code for one in check_lames(row, plates, body.joints, [asked])[1]] == [
        "lames-apart"
    ]
    assert [one.code for one in check_lames(row, plates, body.joints, [])[1]] == ["lames-not-moved"]
