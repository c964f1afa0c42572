"""The page of tags to stick on: what a camera reads on the print, and what a maker reads."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely

from fitkit.drawing.drawing import Drawing
from fitkit.drawing.paper import PAPERS
from fitkit.drawing.text_width import words_box_mm
from fitkit.sheets.tag_pages import tag_pages
from fitkit.template.part_tag import PART_TAG_SIDE_MM, STICKER_MM, part_of_tag

NAMES = [(n, f"shoulder cap {n}, {side}") for n in range(1, 30, 2) for side in ("left", "right")]
PARTS = [(n, title) for n, (_, title) in enumerate(NAMES, start=1)]


def read(page: Drawing, px_per_mm: float = 6.0) -> dict[int, np.ndarray]:
    """Return corners (4, 2) mm by part number, as a detector of AprilTag 36h11 reads the page."""
    grey = np.full((round(297 * px_per_mm), round(210 * px_per_mm)), 255, dtype=np.uint8)
    for fill in page.fills:
        pixels = np.column_stack([fill.points_mm[:, 0], 297.0 - fill.points_mm[:, 1]])
        cv2.fillPoly(grey, [np.round(pixels * px_per_mm).astype(np.int32)], 0)
    for stroke in page.strokes:
        pixels = np.column_stack([stroke.points_mm[:, 0], 297.0 - stroke.points_mm[:, 1]])
        cv2.polylines(grey, [np.round(pixels * px_per_mm).astype(np.int32)], True, 0, 2)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(grey)
    return {
        part_of_tag(int(tag)) or 0: one.reshape(4, 2) / px_per_mm
        for one, tag in zip(corners, ids.ravel(), strict=True)
    }


def test_every_tag_of_the_page_is_read_in_its_size_within_its_frame() -> None:
    (page,) = tag_pages(PARTS, job_name="Heron", paper=PAPERS["A4"])
    found = read(page)
    assert set(found) == {number for number, _ in PARTS}
    for corners in found.values():
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
        assert sides == pytest.approx([PART_TAG_SIDE_MM] * 4, abs=0.5)
    frames = [shapely.Polygon(one.points_mm) for one in page.strokes]
    assert shapely.union_all(frames).area == pytest.approx(len(PARTS) * np.prod(STICKER_MM))
    for frame, (number, title) in zip(frames, PARTS, strict=True):
        inside = [one for one in page.words if frame.contains(shapely.Point(one.at_mm))]
        assert " ".join(one.text for one in inside) == f"{number} {title}"
        assert all(frame.contains(shapely.Polygon(words_box_mm(one))) for one in inside)
        tag = shapely.union_all(
            [shapely.Polygon(one.points_mm) for one in page.fills]
        ).intersection(frame)
        assert not any(tag.intersects(shapely.Polygon(words_box_mm(one))) for one in inside)


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter"])
def test_all_stands_on_the_paper_and_what_has_no_room_goes_to_the_next_page(paper: str) -> None:
    parts = [(n, f"part {n}") for n in range(1, 290)]
    pages = tag_pages(parts, job_name="Heron", paper=PAPERS[paper])
    assert len(pages) > 1
    # The family ends with part 286.
    assert sum(len(page.strokes) for page in pages) == 286
    size = [PAPERS[paper].width_mm, PAPERS[paper].height_mm]
    for page in pages:
        low, high = page.bounds_mm()
        assert (low >= 15.0).all()
        assert (high <= np.array(size) - 15.0).all()
        head = [words_box_mm(one) for one in page.words if one.at_mm[1] > high[1]]
        assert len(head) > 3
        assert max(box[:, 0].max() for box in head) <= size[0] - 15.0


def test_without_parts_there_is_no_page() -> None:
    assert tag_pages([], job_name="Heron", paper=PAPERS["A4"]) == ()
