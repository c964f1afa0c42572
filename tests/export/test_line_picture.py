"""The picture of the whole line shows five pictures, in order, undistorted."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from fitkit.export.line_picture import png_of_line

COLOURS = [(200, 30, 30), (30, 160, 30), (30, 30, 200), (200, 160, 0), (140, 0, 140)]
SIZES = [(300, 400), (900, 500), (500, 450), (400, 300), (210, 297)]


def png(colour: tuple[int, int, int], size: tuple[int, int]) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", size, colour).save(buffer, "PNG")
    return buffer.getvalue()


def test_pictures_stand_side_by_side_in_order_and_keep_their_shape() -> None:
    five = [png(c, s) for c, s in zip(COLOURS, SIZES, strict=True)]
    whole = np.asarray(Image.open(io.BytesIO(png_of_line(*five))).convert("RGB")).astype(int)
    lefts = []
    for colour, (width, height) in zip(COLOURS, SIZES, strict=True):
        mine = (np.abs(whole - colour).max(axis=2) < 8).nonzero()
        shown = np.ptp(mine[1]) + 1, np.ptp(mine[0]) + 1
        assert abs(shown[0] / shown[1] - width / height) < 0.02
        assert shown[0] <= 430
        assert shown[1] <= 380
        lefts.append(mine[1].min())
    assert lefts == sorted(lefts)


def test_same_pictures_same_bytes() -> None:
    five = [png(c, s) for c, s in zip(COLOURS, SIZES, strict=True)]
    assert png_of_line(*five) == png_of_line(*five)
