"""Maps on the body, read back from the picture."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from fitkit.errors import InputError, ShapeError
from fitkit.export.surface_map_picture import SurfaceMap, pngs_of_surface_maps
from tests.truth.solids import sphere

BALL = sphere(100.0, 12.0)
BLUE, RED = (38, 98, 138), (196, 72, 26)


def hues(png: bytes) -> np.ndarray:
    """(H, W) int: 1 bluish, 2 reddish, 0 else."""
    rgb = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    kind = np.zeros(rgb.shape[:2], dtype=int)
    kind[rgb[..., 2] > rgb[..., 0] + 30] = 1
    kind[rgb[..., 0] > rgb[..., 2] + 60] = 2
    return kind


def front_red() -> SurfaceMap:
    front = BALL.face_normals_scaled()[:, 1] < 0
    return SurfaceMap(np.where(front, 3, 0), ("good", "fair", "thin", "bad"))


def test_the_front_is_bad_and_the_back_good_and_each_in_its_view() -> None:
    front, back = (
        hues(pngs_of_surface_maps(BALL, [front_red()], views=(view,), height_px=120)[0])[34:-46]
        for view in ("front", "back")
    )
    disc = np.pi * (100.0 * 120 / 208.0) ** 2
    assert (front == 2).sum() == pytest.approx(disc, rel=0.03)
    assert (front == 1).sum() == 0
    assert (back == 1).sum() == pytest.approx(disc, rel=0.03)


def test_left_is_the_wearers_left() -> None:
    """Seen from the wearer's left, the front (-y) is on the left of the picture."""
    left = hues(pngs_of_surface_maps(BALL, [front_red()], views=("left",), height_px=120)[0])
    left = left[34:-46]
    columns = np.nonzero(left == 2)[1], np.nonzero(left == 1)[1]
    assert columns[0].max() <= columns[1].min() + 4


def test_the_legend_names_the_classes_in_use_in_their_colours() -> None:
    two = SurfaceMap(np.zeros(len(BALL.faces), dtype=int), ("yes", "no"))
    legend = hues(pngs_of_surface_maps(BALL, [two], height_px=120)[0])[-46:]
    assert (legend == 1).sum() > 300
    assert (legend == 2).sum() == 0


def test_two_maps_have_the_same_views_and_the_same_bytes_each_time() -> None:
    maps = [front_red(), SurfaceMap(np.full(len(BALL.faces), -1), ("a",))]
    first = pngs_of_surface_maps(BALL, maps, height_px=120)
    assert first == pngs_of_surface_maps(BALL, maps, height_px=120)
    sizes = {Image.open(io.BytesIO(png)).height for png in first}
    assert len(sizes) == 1
    # No class, no colour.
    assert (hues(first[1])[34:-46] == 0).all()


def test_wrong_input_is_refused_with_words() -> None:
    with pytest.raises(InputError, match="no view 'above'"):
        pngs_of_surface_maps(BALL, [front_red()], views=("above",))
    with pytest.raises(ShapeError, match="A map has 2 faces"):
        pngs_of_surface_maps(BALL, [SurfaceMap(np.zeros(2, dtype=int), ("a",))])
