"""Pictures of a body: true shape, lines only where they can be seen, patches in colour."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from fitkit.errors import InputError, ShapeError
from fitkit.export.body_picture import VIEWS, png_of_body
from fitkit.export.body_shading import GROUND_RGB, LitBody, view_of
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.solids import ellipsoid, sphere

RADIUS_MM = 100.0


@pytest.fixture(scope="module")
def ball() -> TriangleMesh:
    return sphere(RADIUS_MM, 12.0)


def rgb(png: bytes) -> Bytes:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def level_ring(radius_mm: float, z_mm: float = 0.0) -> Floats:
    turn = np.linspace(0.0, 2.0 * np.pi, 361)
    return radius_mm * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1) + [0, 0, z_mm]


def test_the_outline_has_the_body_s_size() -> None:
    """An ellipsoid seen from the front is as wide as its x axis, from the left as its y axis."""
    body = ellipsoid((60.0, 30.0, 100.0), 8.0)
    lit = LitBody(body)
    for name, half_width in (("front", 60.0), ("left", 30.0)):
        view = view_of(body, VIEWS[name], 3.0)
        seen = (np.asarray(lit.shaded(view)) != np.array(GROUND_RGB)).any(axis=2)
        assert seen.any(axis=0).sum() / 3.0 == pytest.approx(2.0 * half_width, abs=1.0)
        assert seen.any(axis=1).sum() / 3.0 == pytest.approx(200.0, abs=1.0)


def test_seen_from_the_front_the_wearer_s_left_is_on_the_right(ball: TriangleMesh) -> None:
    view = view_of(ball, VIEWS["front"], 2.0)
    left, right = view.pixels(np.array([[90.0, 0.0, 0.0], [-90.0, 0.0, 0.0]]))
    assert left[0] > right[0]
    high, low = view.pixels(np.array([[0.0, 0.0, 90.0], [0.0, 0.0, -90.0]]))
    assert high[1] < low[1]


@pytest.mark.parametrize("name", list(VIEWS))
def test_half_of_a_ring_is_hidden_behind_the_body(ball: TriangleMesh, name: str) -> None:
    lit = LitBody(ball)
    view = view_of(ball, VIEWS[name], 2.0)
    ring = level_ring(RADIUS_MM + 0.5)
    runs = lit.runs_in_sight(ring, view)
    length = sum(len(run) for run in runs) / 2.0
    assert length == pytest.approx(np.pi * (RADIUS_MM + 0.5), rel=0.12)


def test_a_ring_round_the_outside_is_seen_through_nothing(ball: TriangleMesh) -> None:
    """A ring of twice the radius vanishes only behind the ball itself: 2 asin(1/2) of its turn."""
    view = view_of(ball, VIEWS["front"], 2.0)
    runs = LitBody(ball).runs_in_sight(level_ring(2.0 * RADIUS_MM), view)
    seen = sum(len(run) for run in runs) / 2.0 / (4.0 * np.pi * RADIUS_MM)
    assert seen == pytest.approx(1.0 - 2.0 * np.arcsin(0.5) / (2.0 * np.pi), abs=0.02)


def test_a_line_s_colour_is_in_the_picture_only_where_it_is_in_sight(ball: TriangleMesh) -> None:
    half = level_ring(RADIUS_MM + 0.5)[180:]  # through -y: the front
    front = rgb(png_of_body(ball, paths=[("ring", half)], views=("front",), height_px=300))
    back = rgb(png_of_body(ball, paths=[("ring", half)], views=("back",), height_px=300))
    blue = (0, 114, 178)

    def inked(picture: Bytes) -> int:
        return int((np.abs(picture.astype(int) - blue).max(axis=2) < 30).sum())

    assert inked(front) > 300
    assert inked(back) < 0.2 * inked(front)


def test_lines_of_one_name_are_named_once(ball: TriangleMesh) -> None:
    rings = level_ring(95.0, 40.0), level_ring(95.0, -40.0)

    def names_written(*names: str) -> int:
        paths = list(zip(names, rings, strict=True))
        column = rgb(png_of_body(ball, paths=paths, views=["front"], height_px=300))[:, -34:-14]
        inked = (np.abs(column.astype(int) - np.array(GROUND_RGB)) > 60).any(axis=(1, 2))
        return int((np.diff(inked.astype(int)) == 1).sum())

    assert names_written("hem", "top") == 2
    assert names_written("hem", "hem") == 1


def test_a_name_stands_on_the_side_of_its_line(ball: TriangleMesh) -> None:
    """From the front the wearer's right is on the left: nothing of it crosses the middle."""
    ring = level_ring(RADIUS_MM + 0.5)
    spans = {"left": ring[305:340], "right": ring[200:235]}
    blue = (0, 114, 178)
    for side, span in spans.items():
        picture = rgb(png_of_body(ball, paths=[(side, span)], views=("front",), height_px=300))
        inked = (np.abs(picture.astype(int) - blue).max(axis=2) < 30).any(axis=0)
        body = np.flatnonzero((picture[150] != GROUND_RGB).any(axis=1))
        middle = int(0.5 * (body[0] + body[-1]))
        own = inked[middle:] if side == "left" else inked[:middle]
        other = inked[:middle] if side == "left" else inked[middle:]
        assert own.sum() > 60
        assert not other.any()


def test_patches_are_told_apart_and_the_rest_keeps_its_colour(ball: TriangleMesh) -> None:
    x = ball.corners.mean(axis=1)[:, 0]
    patch = np.where(x > 30, 0, np.where(x < -30, 1, -1))
    picture = rgb(png_of_body(ball, face_values=patch, views=("front",), height_px=300))
    row = picture[picture.shape[0] // 2].astype(int)
    seen = np.flatnonzero((row != GROUND_RGB).any(axis=1))
    right, middle, left = (row[int(np.quantile(seen, q))] for q in (0.12, 0.5, 0.88))
    assert right[0] > right[2] + 60  # the second patch is orange
    assert left[2] > left[0] + 60  # the first one blue
    assert np.ptp(middle) < 40


def test_values_get_a_scale_with_their_unit(ball: TriangleMesh) -> None:
    values = ball.corners.mean(axis=1)[:, 2]
    plain = rgb(png_of_body(ball, views=("front",), height_px=300))
    scaled = rgb(
        png_of_body(ball, face_values=values, views=("front",), height_px=300, value_unit="mm")
    )
    assert scaled.shape[1] == plain.shape[1] + 130
    brightness = scaled[:, plain.shape[1] + 20].astype(int).sum(axis=1)
    bar = brightness[scaled.shape[0] // 4 + 4 : 3 * scaled.shape[0] // 4 - 4]
    # cividis runs from dark to light without turning back
    assert (np.diff(bar) <= 6).all()
    assert bar[0] - bar[-1] > 200


def test_same_body_same_bytes(ball: TriangleMesh) -> None:
    one, other = (png_of_body(ball, views=("front left",), height_px=200) for _ in range(2))
    assert one == other


def test_what_cannot_be_shown_is_refused(ball: TriangleMesh) -> None:
    with pytest.raises(InputError, match="no view 'above'"):
        png_of_body(ball, views=("above",))
    with pytest.raises(InputError, match="No view"):
        png_of_body(ball, views=())
    with pytest.raises(ShapeError, match="face_values"):
        png_of_body(ball, face_values=np.zeros(3))
