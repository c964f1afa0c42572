"""Photos whose sheets still read are left out when they are far worse than the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest

from fitkit.capture.photo import Photo
from fitkit.capture.photo_quality import poor_photos
from fitkit.capture.sheet_view import SheetView, view_sheets
from fitkit.capture.solve_cameras import solve_cameras


def with_grey(photo: Photo, name: str, grey: np.ndarray) -> Photo:
    return replace(photo, name=name, grey=np.clip(grey, 0, 255).astype(np.uint8))


def shaken(photo: Photo, length_px: int, *, sideways: bool = False) -> Photo:
    kernel = np.ones((1, length_px) if sideways else (length_px, 1)) / length_px
    return with_grey(photo, "shaken.jpg", cv2.filter2D(photo.grey, -1, kernel))


def seen(photos: Sequence[Photo]) -> list[SheetView]:
    return [view for k, photo in enumerate(photos) for view in view_sheets(photo, k)[0]]


@pytest.fixture(scope="module")
def good(floor_photos: tuple) -> tuple[tuple[Photo, ...], list[SheetView]]:
    photos = floor_photos[0][:6]
    return photos, seen(photos)


def judged(good: tuple, odd: Photo) -> tuple[list[int], list[tuple[str, str]]]:
    """Return indices left out and (code, where), with one odd photo behind six good ones."""
    photos, views = good
    extra = list(view_sheets(odd, len(photos))[0])
    assert extra, "its sheets still read"
    poor, findings = poor_photos([*photos, odd], [*views, *extra])
    return sorted(poor), [(f.code, f.where) for f in findings]


def test_good_photos_all_stay(good: tuple) -> None:
    """Blur of 0.6 to 0.8 px, exposure 1.0 to 1.16: as a careful hand takes them."""
    assert poor_photos(*good) == (frozenset(), ())


@pytest.mark.parametrize(("length_px", "sideways"), [(7, False), (9, True)])
def test_a_shaken_photo_whose_tags_still_read_is_left_out(
    good: tuple, length_px: int, sideways: bool
) -> None:
    odd = shaken(good[0][3], length_px, sideways=sideways)
    assert judged(good, odd) == ([6], [("photo-blurred", "shaken.jpg")])


def test_an_unsharp_photo_whose_tags_still_read_is_left_out(good: tuple) -> None:
    soft = cv2.GaussianBlur(good[0][3].grey, (0, 0), 2.2)
    odd = with_grey(good[0][3], "soft.jpg", soft)
    assert judged(good, odd) == ([6], [("photo-blurred", "soft.jpg")])


def test_a_burnt_out_photo_is_left_out(good: tuple) -> None:
    grey = good[0][3].grey.astype(float)
    odd = with_grey(good[0][3], "burnt.jpg", np.where(grey < 90, grey, grey * 2.0))
    assert judged(good, odd) == ([6], [("photo-overexposed", "burnt.jpg")])


def test_a_dark_photo_is_left_out(good: tuple) -> None:
    odd = with_grey(good[0][3], "dark.jpg", good[0][3].grey * 0.3)
    assert judged(good, odd) == ([6], [("photo-dark", "dark.jpg")])


def test_of_two_shots_of_one_view_the_sharper_stays(good: tuple) -> None:
    rng = np.random.default_rng(1)
    again = good[0][3].grey + rng.normal(0.0, 2.0, good[0][3].grey.shape)
    soft = cv2.GaussianBlur(again, (0, 0), 0.8)
    odd = with_grey(good[0][3], "again.jpg", np.roll(soft, 1, axis=1))
    assert judged(good, odd) == ([6], [("photo-double", "again.jpg")])
    # The other way round the first goes and the second stays.
    photos, _ = good
    swapped = [*photos[:3], odd, *photos[4:], photos[3]]
    poor, findings = poor_photos(swapped, seen(swapped))
    assert sorted(poor) == [3]
    assert photos[3].name in findings[0].message


def test_a_step_aside_is_another_view(good: tuple) -> None:
    grey = np.roll(good[0][3].grey, 12, axis=1)
    assert judged(good, with_grey(good[0][3], "aside.jpg", grey)) == ([], [])


def test_the_scan_names_what_it_left_out(floor_photos: tuple) -> None:
    photos = floor_photos[0][:6]
    solved = solve_cameras([*photos, shaken(photos[2], 7)], printed_mm=(180.0, 200.0))
    assert [camera.photo for camera in solved.cameras] == [photo.name for photo in photos]
    assert [(f.code, f.where) for f in solved.findings] == [("photo-blurred", "shaken.jpg")]
