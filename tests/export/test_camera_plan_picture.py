"""The camera plan, read back from the picture."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fitkit.capture.camera import Camera
from fitkit.capture.photo_advice import PhotoAdvice
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras, SolvedSheet
from fitkit.errors import InputError
from fitkit.export.camera_plan_picture import png_of_camera_plan
from fitkit.geometry.rigid import RigidTransform
from tests.truth.camera_walk import camera_walk
from tests.truth.solids import sphere

PANEL = 400


def scan_of(cameras: tuple[Camera, ...]) -> Scan:
    ball = sphere(200.0, 20.0)
    ball = ball.with_vertices(ball.vertices + np.array([0.0, 0.0, 1000.0]))
    sheet = SolvedSheet(0, RigidTransform(np.eye(3), np.array([0.0, -700.0, 0.0])))
    return Scan(
        SolvedCameras(cameras, (sheet,), 0.03, 0.001, tags_of_photo=((cameras[0].photo, (0,)),)),
        CaptureVolume(0.0, 0.0, 500.0, 15.0, 1600.0),
        ball.vertices,
        ball.vertex_normals(),
        ball,
        np.zeros(len(ball.vertices)),
    )


def pixels(png: bytes, ink: tuple[int, int, int]) -> np.ndarray:
    """(N, 2) int: column and row of the pixels near an ink."""
    rgb = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    rows, columns = np.nonzero(np.abs(rgb - ink).max(axis=2) < 25)
    return np.stack([columns, rows], axis=1)


def test_every_camera_is_a_dot_where_it_stood() -> None:
    """Both panels have one scale and one middle, so a dot's place tells the camera's."""
    cameras = camera_walk(rings=(0,))
    png = png_of_camera_plan(scan_of(cameras), panel_px=PANEL)
    dots = pixels(png, (0, 114, 178))
    dots = dots[dots[:, 0] < PANEL]
    x = np.array([c.centre_mm()[0] for c in cameras])
    scale = (PANEL - 92) / (x.max() - x.min())
    low = (PANEL / 2) + scale * (x - 0.5 * (x.min() + x.max()))
    for column in low:
        assert (np.abs(dots[:, 0] - column) < 3).any()
    # Left of the first camera there is only its number.
    assert dots[:, 0].min() > low.min() - 26


def test_from_above_the_front_is_down_and_the_wearers_left_on_the_right() -> None:
    cameras = camera_walk(rings=(0,))
    png = png_of_camera_plan(scan_of(cameras), panel_px=PANEL)
    sheet = pixels(png, (0, 120, 88))
    body = pixels(png, (196, 186, 174))
    above = sheet[sheet[:, 0] < PANEL]
    assert above[:, 1].mean() > body[body[:, 0] < PANEL][:, 1].mean() + 60
    # From the wearer's left the front lies to the left.
    aside = sheet[sheet[:, 0] >= PANEL]
    assert aside[:, 0].mean() < body[body[:, 0] >= PANEL][:, 0].mean() - 60


def test_wanted_photos_are_drawn_in_their_own_colour() -> None:
    scan = scan_of(camera_walk(rings=(0,)))
    wanted = (190, 60, 0)
    assert len(pixels(png_of_camera_plan(scan, panel_px=PANEL), wanted)) == 0
    one = PhotoAdvice(
        3, np.pi / 2, 0.0, np.array([900.0, 0.0, 1000.0]), np.array([100.0, 0, 1000]), 0.1
    )
    ink = pixels(png_of_camera_plan(scan, advice=[one], panel_px=PANEL), wanted)
    above = ink[ink[:, 0] < PANEL]
    assert len(above) > 40
    assert above[:, 0].min() > PANEL / 2


def test_the_same_scan_gives_the_same_bytes() -> None:
    scan = scan_of(camera_walk(rings=(0,)))
    assert png_of_camera_plan(scan, panel_px=300) == png_of_camera_plan(scan, panel_px=300)


def test_a_scan_without_cameras_is_refused() -> None:
    scan = scan_of(camera_walk(rings=(0,)))
    bare = replace(scan, solved=SolvedCameras((), (), 0.0, 0.0))
    with pytest.raises(InputError, match="no camera"):
        png_of_camera_plan(bare)
