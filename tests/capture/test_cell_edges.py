"""Edges inside a tag move the other way than its outline when black grows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.cell_edges import tag_cells, with_cell_edges
from fitkit.capture.tag_detection import TagSighting
from fitkit.capture.tag_edges import EdgeStations, measure_tag_edges
from fitkit.capture.tag_set import PrintedTag, TagSet, tag_set
from fitkit.capture.tone_curve import light_of_grey
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import looking_at, photo_of

LENS = Lens(360, 360, 600.0, 179.5, 179.5)
CAMERA = Camera("a.jpg", LENS, looking_at(np.array([300.0, -700.0, 500.0]), np.zeros(3), 0.4))
TURNED = RigidTransform(Rotation.from_euler("z", 25, degrees=True).as_matrix(), np.zeros(3))


def measured(tags: TagSet, **how: float) -> tuple[EdgeStations, np.ndarray]:
    """Stations on a tag and how far each lies towards the white of its true place, px."""
    tag = tags.sheet_of_tag(5)
    assert isinstance(tag, PrintedTag)
    photo = photo_of(CAMERA, [(tag, TURNED)], tags=tags, noise_grey=0.0, fine=6, **how)  # type: ignore[arg-type]
    pose = CAMERA.camera_from_world @ TURNED
    light = light_of_grey(photo.grey)
    edges = measure_tag_edges(
        light, TagSighting(tag, LENS.project(pose.apply(tag.tag_corners_mm())))
    )
    assert edges is not None
    both = with_cell_edges(light, tags, tag, edges)
    true = LENS.project(pose.apply(both.points_mm))
    return both, ((both.pixels_px - true) * both.outward).sum(axis=1)


@pytest.mark.parametrize("family", ["36h11", "16h5", "5x5_50", "7x7_50"])
def test_inner_edges_are_true_where_the_tone_curve_is_the_assumed_one(family: str) -> None:
    both, off = measured(tag_set(family, 150.0), tone_gamma=2.2)
    assert both.inside.sum() >= 8
    assert np.abs(off[both.inside]).max() < 0.12
    assert abs(off[both.inside].mean()) < 0.03


@pytest.mark.parametrize("gamma", [1.4, 2.8])
def test_outline_and_inner_edges_tell_the_growth_together(gamma: float) -> None:
    """All stations lie as far towards the white: with one growth everything fits."""
    both, off = measured(tag_set("36h11", 150.0), tone_gamma=gamma)
    outer, inner = off[~both.inside].mean(), off[both.inside].mean()
    assert abs(outer) > 0.05
    assert inner == pytest.approx(outer, abs=0.05)


def test_ink_spread_moves_inner_edges_into_the_white() -> None:
    """0.8 mm of ink at 0.66 px to the mm in the better direction: a third to half a pixel."""
    both, off = measured(tag_set("4x4_50", 150.0), tone_gamma=2.2, ink_spread_mm=0.8)
    assert 0.2 < off[both.inside].mean() < 0.6
    assert off[both.inside].mean() == pytest.approx(off[~both.inside].mean(), abs=0.08)


def test_inner_edges_lie_on_the_grid_between_unlike_squares() -> None:
    """150 mm by 6 squares is 25 mm; a step to either side of a station is black and white."""
    tags = tag_set("4x4_50", 150.0)
    both, _ = measured(tags, tone_gamma=2.2)
    cells = tag_cells(tags, 5)
    for x, y in both.points_mm[both.inside][:, :2] / 25.0 + 3.0:
        # In the middle of a run of two a station lies on both lines, and divides one way.
        divides = []
        for at, step in ((x, np.array([0.25, 0.0])), (y, np.array([0.0, 0.25]))):
            if abs(at - round(at)) < 1e-9:
                place = np.array([x, y]) + 1e-3 * step[::-1]
                a, b = place + step, place - step
                divides.append(cells[5 - int(a[1]), int(a[0])] != cells[5 - int(b[1]), int(b[0])])
        assert any(divides)


def test_squares_too_small_to_measure_are_left() -> None:
    both, _ = measured(tag_set("36h11", 60.0), tone_gamma=2.2)
    assert not both.inside.any()
