"""The contact sheet outlines sheets where they are and crosses what was left out."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.photo import Photo
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.errors import InputError
from fitkit.export.scan_picture import png_of_photos
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bytes
from fitkit.geometry.rigid import RigidTransform

LENS = Lens(600, 800, 700.0, 299.5, 399.5)
# From above: the camera's x is the world's, its y runs the other way, 1500 mm up.
ABOVE = RigidTransform(np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, 1500.0]))
BLUE, RED = (0, 114, 178), (190, 60, 0)


def photo(name: str, *, width: int = 600, height: int = 800) -> Photo:
    return Photo(name, np.full((height, width), 120, dtype=np.uint8), 700.0, True, "phone")


def solved(names: tuple[str, ...], *findings: Finding) -> SolvedCameras:
    sheet = SolvedSheet(marker_sheet("A4", 2).tag_id, RigidTransform.identity())
    cameras = tuple(Camera(name, LENS, ABOVE) for name in names)
    return SolvedCameras(cameras, (sheet,), 0.3, 0.001, findings)


def like(picture: Bytes, ink: tuple[int, int, int]) -> np.ndarray:
    return np.abs(picture.astype(int) - ink).max(axis=2) < 12


def rgb(png: bytes) -> Bytes:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def test_the_outline_has_the_paper_s_projected_size() -> None:
    """A4 seen square from 1500 mm with 700 px: 98.0 x 138.6 px, give or take the line's width."""
    picture = rgb(png_of_photos([photo("a.jpg")], solved(("a.jpg",)), thumbnail_px=800))
    rows, columns = (np.flatnonzero(like(picture, BLUE).any(axis=i)) for i in (1, 0))
    assert np.ptp(columns) == pytest.approx(210.0 * 700 / 1500, abs=2.5)
    assert np.ptp(rows) == pytest.approx(297.0 * 700 / 1500, abs=2.5)


def test_a_photo_left_out_is_crossed_with_its_reason() -> None:
    finding = Finding("photo-not-connected", Severity.WARNING, "b.jpg", "b.jpg shows no sheet.")
    one, two = photo("a.jpg"), photo("b.jpg")
    silent = rgb(png_of_photos([one, two], solved(("a.jpg",))))
    told = rgb(png_of_photos([one, two], solved(("a.jpg",), finding)))
    half = told.shape[1] // 2
    assert like(told, RED)[:, half:].sum() > 400
    assert like(told, RED)[:, :half].sum() == 0
    assert silent.shape[1] == told.shape[1]
    assert not np.array_equal(silent[-30:], told[-30:])


def test_photos_stand_in_rows() -> None:
    photos = [photo(f"{i}.jpg") for i in range(7)]
    names = tuple(p.name for p in photos)
    one = rgb(png_of_photos(photos[:3], solved(names[:3]), columns=3))
    three = rgb(png_of_photos(photos, solved(names), columns=3))
    assert three.shape[1] == one.shape[1]
    assert three.shape[0] > 2.5 * (one.shape[0] - 40)


def test_a_sheet_behind_the_camera_is_not_drawn() -> None:
    behind = RigidTransform(np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, -1500.0]))
    scan = solved(("a.jpg",))
    scan = SolvedCameras((Camera("a.jpg", LENS, behind),), scan.sheets, 0.3, 0.001)
    assert not like(rgb(png_of_photos([photo("a.jpg")], scan)), BLUE).any()


def test_no_photos_is_refused() -> None:
    with pytest.raises(InputError, match="no photo"):
        png_of_photos([], solved(()))
