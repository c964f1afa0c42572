"""Part numbers read off pictures of the table at the sharpness of a phone's photo."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from fitkit.template.part_tag import PART_TAG_SIDE_MM, part_of_tag, part_tag
from fitkit.trace.part_tags import part_tags
from fitkit.trace.table_picture import TablePicture

PIXEL_MM = 0.5


def table_with(*tags: tuple[int, tuple[float, float], float]) -> TablePicture:
    """Return a table of 200 x 150 mm with tags at places, turned and a little blurred."""
    fine = 8
    wide, high = round(200 / PIXEL_MM), round(150 / PIXEL_MM)
    grey = np.full((high * fine, wide * fine), 75.0, dtype=np.float32)
    for number, at, turn in tags:
        c, s = np.cos(turn), np.sin(turn)
        for fill in part_tag(number):
            points = fill.points_mm @ np.array([[c, s], [-s, c]]) + at
            pixels = np.column_stack([points[:, 0], 150.0 - points[:, 1]]) * fine / PIXEL_MM
            cv2.fillPoly(grey, [np.round(pixels * 16).astype(np.int32)], 12.0, shift=4)
    small = cv2.GaussianBlur(
        cv2.resize(grey, (wide, high), interpolation=cv2.INTER_AREA), (0, 0), 0.8
    )
    small = small + np.random.default_rng(1).normal(0.0, 1.0, small.shape)
    whole = np.ones((high, wide), dtype=np.bool_)
    corner = np.array([0.5 * PIXEL_MM, 150.0 - 0.5 * PIXEL_MM])
    lab = np.asarray(small, dtype=np.float32)[:, :, None]
    return TablePicture(lab, lab / 100.0, corner, PIXEL_MM, 0.0, whole, ~whole)


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, 140.0])
def test_numbers_and_places_of_several_tags_are_read(turn_deg: float) -> None:
    turn = float(np.radians(turn_deg))
    found = dict(part_tags(table_with((7, (60.0, 80.0), turn), (12, (140.0, 50.0), -turn))))
    assert set(found) == {7, 12}
    assert found[7] == pytest.approx([60.0, 80.0], abs=0.4)
    assert found[12] == pytest.approx([140.0, 50.0], abs=0.4)


def test_a_bare_table_has_none() -> None:
    assert part_tags(table_with()) == []


def test_tags_of_sheets_are_no_parts_and_numbers_end_with_the_family() -> None:
    """36h11 has 587 ids; 0 to 299 are the marker sheets'."""
    assert part_of_tag(299) is part_of_tag(300) is part_of_tag(587) is None
    assert (part_of_tag(301), part_of_tag(586)) == (1, 286)
    assert part_tag(286) != []
    assert part_tag(287) == []
    corners = np.concatenate([fill.points_mm for fill in part_tag(5)])
    assert np.abs(corners).max() == pytest.approx(0.5 * PART_TAG_SIDE_MM)
