from __future__ import annotations

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.sheet_view import view_sheets
from fitkit.findings import Severity


def test_points_are_corners_and_saddles_together(floor_photos: tuple) -> None:
    photos, cameras, sheets = floor_photos
    pose = {sheet.tag_id: world_from_sheet for sheet, world_from_sheet in sheets}
    views, findings = view_sheets(photos[0], 3)
    assert findings == ()
    assert len(views) >= 5
    for view in views:
        assert view.photo == 3
        points_mm, pixels = view.points()
        assert len(points_mm) == len(pixels) == 4 + len(view.saddles.which)
        true = cameras[0].project(pose[view.sheet.tag_id].apply(points_mm))
        # Corners move with the tone curve, saddles do not.
        assert np.abs(pixels[:4] - true[:4]).max() < 1.0
        assert np.abs(pixels[4:] - true[4:]).max() < 0.3


def test_a_shaken_photo_is_called_blurred(floor_photos: tuple) -> None:
    photo = floor_photos[0][0]
    shaken = cv2.GaussianBlur(photo.grey, (0, 0), 9.0)
    blurred = Photo("shaken.jpg", np.asarray(shaken, np.uint8), 768.0, True, "k")
    views, findings = view_sheets(blurred, 0)
    assert views == ()
    assert [(f.code, f.severity, f.where) for f in findings] == [
        ("photo-blurred", Severity.WARNING, "shaken.jpg")
    ]
    assert findings[0].number is not None
    assert findings[0].limit is not None
    assert findings[0].number > findings[0].limit
    assert "still hand" in findings[0].remedy


def test_a_sharp_photo_without_sheets_is_not_called_blurred(floor_photos: tuple) -> None:
    photo = floor_photos[0][0]
    # Mirrored tags are no tags; the picture is as sharp as before.
    mirrored = Photo("mirror.jpg", np.ascontiguousarray(photo.grey[:, ::-1]), 768.0, True, "k")
    views, findings = view_sheets(mirrored, 0)
    assert views == ()
    assert [f.code for f in findings] == ["photo-no-sheet"]
