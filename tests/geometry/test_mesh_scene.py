"""Rays against a ball, whose answers are known."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.mesh_scene import MeshScene
from tests.truth.solids import sphere

_STARTS = np.array([[0.0, 0.0, 300.0], [0.0, 0.0, 300.0], [0.0, 0.0, 300.0], [0.0, 0.0, 0.0]])
_WAYS = np.array([[0.0, 0.0, -250.0], [0.0, 0.0, -150.0], [0.0, 0.0, 250.0], [0.0, 20.0, 0.0]])


def test_a_way_crosses_the_surface_only_as_far_as_it_goes() -> None:
    """From 200 mm above a ball of radius 100: 250 mm down meet it, 150 mm do not."""
    scene = MeshScene(sphere(100.0, 10.0))
    np.testing.assert_array_equal(
        scene.crossed(_STARTS, _STARTS + _WAYS), [True, False, False, False]
    )


def test_a_ray_without_end_is_stopped_wherever_the_surface_lies_ahead() -> None:
    scene = MeshScene(sphere(100.0, 10.0))
    np.testing.assert_array_equal(scene.stopped(_STARTS, _WAYS), [True, True, False, True])


def test_a_ray_goes_as_far_as_the_surface_lies_whatever_the_length_of_its_way() -> None:
    met_mm = MeshScene(sphere(100.0, 10.0)).met_mm(_STARTS, _WAYS)
    np.testing.assert_allclose(met_mm, [200.0, 200.0, np.inf, 100.0], atol=1.0)
