from __future__ import annotations

import cv2
import numpy as np
import pytest

from fitkit.capture.camera import Lens
from fitkit.geometry.arrays import Bytes
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.camera_walk import camera_at
from tests.truth.coverings import covering
from tests.truth.mannequin import mannequin
from tests.truth.solids import sphere
from tests.truth.studio import Scene, render_photo

_SIDE_PX = 220


def _close_up(kind: str, seed: int = 1, mesh: TriangleMesh | None = None) -> Bytes:
    """Photograph the belly (or a given body) from 1.4 m with the studio phone's pixels."""
    body = mannequin(10.0) if mesh is None else mesh
    scene = Scene((covering(kind, seed).on(body),), (), light_samples=4, room_samples=8)
    middle = 0.5 * (_SIDE_PX - 1)
    lens = Lens(_SIDE_PX, _SIDE_PX, 1473.6, middle, middle, 0.0, 0.0, 0.0, 0.0)
    camera = camera_at(
        "close.jpg",
        lens,
        centre_mm=np.array([200.0, -1500.0, 1150.0]),
        target_mm=np.array([0.0, -100.0, 1070.0]),
    )
    return render_photo(scene, camera, seed=3)


def _texture_grey(rgb: Bytes, percentile: float = 50.0) -> float:
    """Deviation of grey levels in windows of 13 px, the studio's own noise taken off."""
    grey = rgb.astype(np.float64) @ [0.299, 0.587, 0.114]
    mean = cv2.blur(grey, (13, 13))
    variance = cv2.blur(grey * grey, (13, 13)) - mean * mean
    inner = variance[20:-20, 20:-20]
    return float(np.sqrt(max(np.percentile(inner, percentile) - 1.2**2, 0.0)))


@pytest.mark.parametrize(("kind", "grey"), [("busy", 7.7), ("mid", 3.9), ("low", 1.9)])
def test_prints_are_as_faint_as_their_names_say(kind: str, grey: float) -> None:
    """Within a quarter: what a window of cloth holds differs by more than that."""
    assert _texture_grey(_close_up(kind)) == pytest.approx(grey, rel=0.25)


def test_plain_cloth_shows_nothing_between_its_crosses() -> None:
    photo = _close_up("crosses")
    grey = photo.astype(np.float64).mean(axis=2)
    # Many windows hold an edge of tape; light and shade alone make about one grey level.
    assert _texture_grey(photo, 20.0) < 1.4
    assert (grey < 0.6 * np.median(grey)).mean() > 0.01


def test_crosses_leave_no_place_far_from_one() -> None:
    mesh = mannequin(10.0)
    middles = covering("crosses", 4).on(mesh).look.crosses[:, :3]
    away = np.linalg.norm(mesh.vertices[:, None] - middles, axis=2).min(axis=1)
    assert 80.0 < away.max() <= 112.5
    assert len(middles) < 80


def test_lacquer_mirrors_the_lamps_and_cloth_does_not() -> None:
    """On a ball, the lamps' mirror images have edges that mere light and shade have not."""
    ball = sphere(90.0, 6.0)
    ball = ball.with_vertices(ball.vertices + np.array([0.0, -100.0, 1070.0]))
    steepest = []
    for kind in ("glossy", "low"):
        grey = cv2.GaussianBlur(
            _close_up(kind, 1, ball).astype(np.float64).mean(axis=2), (0, 0), 3.0
        )
        down, across = np.gradient(grey)
        row, column = np.indices(grey.shape) - 0.5 * (_SIDE_PX - 1)
        steepest.append(np.hypot(down, across)[np.hypot(row, column) < 60.0].max())
    assert steepest[0] > 1.4 * steepest[1]


def test_another_seed_is_another_cut_of_the_same_cloth() -> None:
    one, other = (_close_up("busy", seed).astype(int) for seed in (1, 2))
    assert np.abs(one - other).mean() > 5.0


def test_unknown_covering_names_the_known_ones() -> None:
    with pytest.raises(ValueError, match="busy, mid, low, crosses, glossy"):
        covering("velvet")
