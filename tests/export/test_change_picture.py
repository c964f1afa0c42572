"""The picture of a reshaped body: orange where it grew, purple where it shrank, dashes before."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from fitkit.errors import InputError, ShapeError
from fitkit.export.body_shading import GROUND_RGB
from fitkit.export.change_picture import png_of_change
from fitkit.geometry.arrays import Floats
from tests.truth.solids import sphere

BALL = sphere(100.0, 25.0)


def picture(grown_mm: float) -> Floats:
    """(H, W, 3): one view of a ball of 100 mm and of the one it became, 330 px high."""
    after = BALL.with_vertices(BALL.vertices * (1.0 + grown_mm / 100.0))
    grown = np.full(len(BALL.vertices), grown_mm)
    png = png_of_change(BALL, after, grown, views=("front",), height_px=330)
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=np.float64)


def ink_amid(rgb: Floats) -> Floats:
    """Return the mean colour amid the ball, which is lit from above and from the left."""
    body = (np.abs(rgb - GROUND_RGB) > 12).any(axis=2)[:, :330]
    rows, columns = np.nonzero(body)
    row, column = int(rows.mean()), int(columns.mean())
    ink: Floats = rgb[row - 6 : row + 6, column - 6 : column + 6].mean(axis=(0, 1))
    return ink


def test_growth_is_orange_and_shrinking_purple() -> None:
    red, _, blue = ink_amid(picture(30.0))
    assert red > blue + 30
    red, _, blue = ink_amid(picture(-30.0))
    assert blue > red + 10


def test_the_body_before_is_a_dashed_ring_of_its_true_size() -> None:
    """Shrunk to nothing much, only the dashes are left of the ball of 200 mm."""
    rgb = picture(-80.0)
    dashes = (rgb[..., 2] > rgb[..., 0] + 60) & (rgb[..., 0] < 80)
    dashes[:, 345:] = False  # the scale beside it
    rows, columns = np.nonzero(dashes)
    px_per_mm = 330 / (1.04 * 200.0)
    assert np.ptp(columns) / px_per_mm == pytest.approx(200.0, abs=5.0)
    assert np.ptp(rows) / px_per_mm == pytest.approx(200.0, abs=5.0)
    # dashes, not a whole ring
    assert 0.3 < len(rows) / (2.0 * np.pi * 100.0 * px_per_mm * 2.0) < 0.9


def test_wrong_views_and_values_are_refused() -> None:
    with pytest.raises(InputError, match="no view 'above'"):
        png_of_change(BALL, BALL, np.zeros(len(BALL.vertices)), views=("above",))
    with pytest.raises(ShapeError, match="vertices"):
        png_of_change(BALL, BALL, np.zeros(3))
