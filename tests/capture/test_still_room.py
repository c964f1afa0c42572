"""A room that keeps still is drawn over; the subject before it and photos of a walk are not."""

from __future__ import annotations

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.still_room import without_still_room
from fitkit.geometry.arrays import Bytes, Floats

SHAPE = (320, 240)


def pattern(seed: int) -> Floats:
    rough = np.random.default_rng(seed).normal(0.0, 1.0, SHAPE)
    smooth = cv2.GaussianBlur(rough, (0, 0), 3.0)
    return 120.0 + 35.0 * smooth / smooth.std()


def covered(k: int) -> np.ndarray:
    """Where the subject is in photo ``k``: an upright oval that is not the same from all sides."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    half = 45.0 + 20.0 * np.cos(2 * np.pi * k / 12)
    return ((x - 120) / half) ** 2 + ((y - 170) / 100.0) ** 2 < 1.0


def photo(k: int, behind: Floats, *, lens: str = "phone") -> Photo:
    picture = np.where(covered(k), pattern(100 + k), behind)
    picture = picture + np.random.default_rng(k).normal(0.0, 1.5, SHAPE)
    grey: Bytes = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return Photo(f"{k:02d}.jpg", grey, 300.0, True, lens)


def test_the_room_is_drawn_over_differently_in_each_photo_and_the_subject_is_not() -> None:
    photos = [photo(k, pattern(1)) for k in range(12)]
    settled, (finding,) = without_still_room(photos)
    assert finding.code == "camera-stood-still"
    for k, (before, after) in enumerate(zip(photos, settled, strict=True)):
        same = before.grey == after.grey
        core = cv2.erode(covered(k).astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
        room = cv2.dilate(covered(k).astype(np.uint8), np.ones((7, 7), np.uint8)) == 0
        assert same[core].mean() > 0.98
        assert same[room].mean() < 0.1
    always = ~np.any([covered(k) for k in range(12)], axis=0)
    first, second = (one.grey[always].astype(float) for one in settled[:2])
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.1


def test_photos_of_a_walk_stay_as_they_are() -> None:
    photos = [photo(k, pattern(1 + k)) for k in range(12)]
    settled, findings = without_still_room(photos)
    assert findings == ()
    assert all(one is other for one, other in zip(settled, photos, strict=True))


def test_a_bare_wall_behind_a_walk_is_no_still_room() -> None:
    photos = [photo(k, np.full(SHAPE, 200.0)) for k in range(12)]
    assert without_still_room(photos)[1] == ()


def test_few_photos_say_nothing_of_the_camera() -> None:
    photos = [photo(k, pattern(1)) for k in range(5)]
    photos += [photo(k, pattern(1), lens=f"phone {k}") for k in range(5, 12)]
    assert without_still_room(photos)[1] == ()
