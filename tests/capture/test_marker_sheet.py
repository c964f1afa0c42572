"""Every marker sheet fits its paper and is known by its tag alone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fitkit.capture.marker_sheet import marker_sheet, marker_sheet_of_tag
from fitkit.errors import InputError

# The AprilTag 36h11 family has 587 members (its published code list; also OpenCV's dictionary).
FAMILY_SIZE = 587
PAPERS = ("A4", "A3", "Letter")


def test_tags_are_unique_over_papers_and_numbers_and_in_the_family() -> None:
    ids = [marker_sheet(p, n).tag_id for p, n in itertools.product(PAPERS, range(1, 101))]
    assert len(set(ids)) == len(ids)
    assert 0 <= min(ids) <= max(ids) < FAMILY_SIZE


@pytest.mark.parametrize("paper", PAPERS)
def test_a_sheet_is_found_again_by_its_tag(paper: str) -> None:
    sheet = marker_sheet(paper, 7)
    assert marker_sheet_of_tag(sheet.tag_id) == sheet


@pytest.mark.parametrize("tag_id", [-1, 300, 586])
def test_a_foreign_tag_belongs_to_no_sheet(tag_id: int) -> None:
    assert marker_sheet_of_tag(tag_id) is None


@pytest.mark.parametrize("paper", PAPERS)
def test_marks_stay_on_the_printable_paper_and_out_of_the_tags_white_border(paper: str) -> None:
    """The white border is one module, an eighth of the black square.

    The printer margin of 6.4 mm is common practice, no source.
    """
    sheet = marker_sheet(paper, 1)
    half_paper = np.array([sheet.paper.width_mm, sheet.paper.height_mm]) / 2.0
    reach = np.abs(sheet.saddles_mm()[:, :2]) + sheet.saddle_half_mm
    assert (reach <= half_paper - 6.4).all()
    quiet = sheet.tag_side_mm / 2.0 + sheet.tag_side_mm / 8.0
    assert quiet <= half_paper.min()
    nearest = (np.abs(sheet.saddles_mm()[:, :2]) - sheet.saddle_half_mm).max(axis=1)
    assert (nearest >= quiet).all()
    assert sheet.check_mm[0] <= sheet.paper.width_mm - 2 * 6.4
    assert sheet.check_mm[1] <= sheet.paper.height_mm - 2 * 6.4


def test_corners_run_clockwise_from_the_top_left_as_the_detector_reports_them() -> None:
    x, y = marker_sheet("A4", 1).tag_corners_mm()[:, :2].T
    np.testing.assert_array_equal(np.sign(x), [-1, 1, 1, -1])
    np.testing.assert_array_equal(np.sign(y), [1, 1, -1, -1])
    assert np.ptp(x) == np.ptp(y) == 150.0


@pytest.mark.parametrize(("paper", "number"), [("Tabloid", 1), ("A4", 0), ("A4", 101)])
def test_a_sheet_that_does_not_exist_is_refused(paper: str, number: int) -> None:
    with pytest.raises(InputError):
        marker_sheet(paper, number)
