"""A sheet in plain view that was seldom read is named; one that is read or out of view is not."""

from __future__ import annotations

import numpy as np

from fitkit.capture.camera import Lens
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.capture.unread_sheets import unread_sheets
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform
from tests.truth.textured_egg import camera_at

_LENS = Lens(1512, 2016, 1500.0, 755.5, 1007.5)


def _solved(read_in: int, *, place_mm: Floats, photos: int = 10) -> SolvedCameras:
    cameras = []
    for k in range(photos):
        turn = 2 * np.pi * k / photos
        centre = np.array([1500 * np.cos(turn), 1500 * np.sin(turn), 1200.0])
        cameras.append(camera_at(f"walk_{k}.jpg", centre, np.zeros(3), lens=_LENS))
    sheet = SolvedSheet(1, RigidTransform(np.eye(3), place_mm))
    tags = tuple((f"walk_{k}.jpg", (1,)) for k in range(read_in))
    return SolvedCameras(tuple(cameras), (sheet,), 0.1, 0.001, tags_of_photo=tags)


def test_sheet_read_in_few_of_the_photos_that_show_it_is_named() -> None:
    (told,) = unread_sheets(_solved(3, place_mm=np.zeros(3)))
    assert told.code == "sheet-seldom-read"
    assert "10 photos" in told.message
    assert "only 3 could" in told.message
    assert told.number == 3.0


def test_sheet_that_half_the_photos_read_is_not() -> None:
    assert unread_sheets(_solved(5, place_mm=np.zeros(3))) == ()


def test_sheet_far_away_out_of_view_or_in_few_photos_is_not() -> None:
    assert unread_sheets(_solved(0, place_mm=np.array([9000.0, 0.0, 0.0]))) == ()
    assert unread_sheets(_solved(0, place_mm=np.zeros(3), photos=4)) == ()
