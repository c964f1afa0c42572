from __future__ import annotations

import cv2
import numpy as np
import pytest

from fitkit.capture.cell_edges import tag_cells
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.tag_set import OUR_SHEETS, TAG_FAMILIES, PrintedTag, tag_set
from fitkit.errors import InputError


@pytest.mark.parametrize(
    ("told", "family", "opencv"),
    [
        ("36h11", "36h11", "DICT_APRILTAG_36h11"),
        ("Tag36h11", "36h11", "DICT_APRILTAG_36h11"),
        ("AprilTag 25H9", "25h9", "DICT_APRILTAG_25h9"),
        ("16h5", "16h5", "DICT_APRILTAG_16h5"),
        ("4x4", "4x4_1000", "DICT_4X4_1000"),
        ("aruco 5X5_100", "5x5_100", "DICT_5X5_100"),
        ("DICT_7X7_250", "7x7_250", "DICT_7X7_250"),
    ],
)
def test_families_go_by_the_usual_names(told: str, family: str, opencv: str) -> None:
    tags = tag_set(told, 24.0)
    assert (tags.family, tags.side_mm) == (family, 24.0)
    assert tags.opencv_name == opencv
    assert not tags.ours


@pytest.mark.parametrize("family", TAG_FAMILIES)
def test_every_family_is_one_of_opencv_with_its_rim(family: str) -> None:
    """Bits by OpenCV's own dictionary; a rim of one black square goes round them."""
    tags = tag_set(family, 40.0)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, tags.opencv_name))
    assert tags.cells_across == dictionary.markerSize + 2
    cells = tag_cells(tags, 7)
    assert cells.shape == (tags.cells_across, tags.cells_across)
    assert not cells[0].any()
    assert not cells[:, -1].any()
    assert np.array_equal(
        cells, cv2.aruco.generateImageMarker(dictionary, 7, tags.cells_across) > 127
    )


@pytest.mark.parametrize(
    ("family", "side_mm", "cause"),
    [
        ("36h12", 24.0, "no tag family '36h12'"),
        ("8x8", 24.0, "no tag family"),
        ("4x4_77", 24.0, "no tag family"),
        ("", 24.0, "no tag family"),
        ("36h11", 0.5, "cannot have a side"),
        ("36h11", float("nan"), "cannot have a side"),
    ],
)
def test_what_is_no_set_of_tags_is_refused(family: str, side_mm: float, cause: str) -> None:
    with pytest.raises(InputError) as caught:
        tag_set(family, side_mm)
    assert cause in caught.value.cause
    assert caught.value.remedy


def test_a_tag_is_a_sheet_without_saddles() -> None:
    tag = tag_set("5x5", 60.0).sheet_of_tag(17)
    assert isinstance(tag, PrintedTag)
    assert (tag.number, tag.tag_id, tag.called) == (17, 17, "tag 17")
    assert tag.tag_corners_mm()[1].tolist() == [30.0, 30.0, 0.0]
    assert len(tag.saddles_mm()) == 0
    assert not tag.tells_front


def test_our_own_sheets_stay_what_they_are() -> None:
    assert OUR_SHEETS.ours
    assert OUR_SHEETS.sheet_of_tag(103) == marker_sheet("A3", 4)
    assert OUR_SHEETS.sheet_of_tag(587) is None
    assert OUR_SHEETS.cells_across == marker_sheet("A4", 1).cells_across
