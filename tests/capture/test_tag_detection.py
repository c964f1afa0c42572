from __future__ import annotations

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.tag_detection import detect_tags
from tests.capture.sheet_scene import PHONE


def plain_photo(*prints: tuple[int, int, int, int]) -> Photo:
    """Return a grey photo with upright tags: (id, side px, left px, top px)."""
    grey = np.full((600, 800), 150, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for tag_id, side, left, top in prints:
        rim = side // 8
        grey[top - rim : top + side + rim, left - rim : left + side + rim] = 230
        grey[top : top + side, left : left + side] = cv2.aruco.generateImageMarker(
            dictionary, tag_id, side
        )
    return Photo("floor.jpg", grey, 700.0, True, "k")


def test_corners_come_in_the_order_of_the_sheet() -> None:
    (seen,), findings = detect_tags(plain_photo((0, 120, 200, 300)))
    assert findings == ()
    assert (seen.sheet.paper.name, seen.sheet.number) == ("A4", 1)
    low, high_x, high_y = np.array([199.5, 299.5]), 319.5, 419.5
    expected = [low, [high_x, low[1]], [high_x, high_y], [low[0], high_y]]
    assert np.abs(seen.corners_px - expected).max() < 2.0


def test_papers_and_numbers_are_told_by_the_tag() -> None:
    sightings, _ = detect_tags(
        plain_photo((3, 100, 100, 100), (104, 100, 300, 100), (205, 100, 500, 100))
    )
    assert [(s.sheet.paper.name, s.sheet.number) for s in sightings] == [
        ("A4", 4),
        ("A3", 5),
        ("Letter", 6),
    ]


def test_a_tag_of_no_sheet_is_passed_over_with_a_note() -> None:
    sightings, findings = detect_tags(plain_photo((2, 100, 100, 100), (450, 100, 400, 100)))
    assert [s.sheet.number for s in sightings] == [3]
    assert [(f.code, f.where) for f in findings] == [("tag-unknown", "floor.jpg")]
    assert "450" in findings[0].message


def test_the_same_sheet_twice_is_passed_over_with_a_warning() -> None:
    sightings, findings = detect_tags(
        plain_photo((2, 100, 100, 100), (2, 80, 400, 100), (5, 80, 600, 300))
    )
    assert [s.sheet.number for s in sightings] == [6]
    assert [(f.code, f.number) for f in findings] == [("tag-twice", 2.0)]
    assert findings[0].remedy


def test_every_sheet_of_some_size_is_found(floor_photos: tuple) -> None:
    """Tags of 20 px and more on their shortest side: 2.5 px to a cell."""
    photos, cameras, sheets = floor_photos
    expected = found = 0
    for photo, camera in zip(photos, cameras, strict=True):
        inside = set()
        for sheet, pose in sheets:
            corners = camera.project(pose.apply(sheet.tag_corners_mm()))
            size = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).min()
            whole = camera.project(pose.apply(1.3 * sheet.tag_corners_mm()))
            limits = [PHONE.width_px - 1, PHONE.height_px - 1]
            if size > 20 and (whole > 0).all() and (whole < limits).all():
                inside.add(sheet.tag_id)
        seen = {s.sheet.tag_id for s in detect_tags(photo)[0]}
        assert seen <= {sheet.tag_id for sheet, _ in sheets}
        expected, found = expected + len(inside), found + len(inside & seen)
    assert expected > 50
    assert found >= 0.97 * expected
