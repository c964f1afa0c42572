"""Straight walks on surfaces whose straight lines are known."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.straight_walk import walk_straight
from tests.truth.solids import cylinder_panel, sphere


def test_walks_on_a_sphere_are_great_circles() -> None:
    """R theta = the way walked; bearing kept. Chord error of 6 mm edges: h^2 / 8 R = 0.02 mm."""
    mesh = sphere(200.0, 6.0)
    start, face, _ = nearest_on_mesh(mesh, np.array([[0.0, 0.0, 200.0]]))
    turn = np.linspace(0, 2 * pi, 24, endpoint=False)
    ways = 100.0 * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    walks = walk_straight(mesh, np.repeat(start, 24, 0), np.repeat(face, 24), ways)
    assert walks.whole.all()
    radius = np.linalg.norm(walks.points_mm, axis=1)
    assert 200 * np.arccos(walks.points_mm[:, 2] / radius) == pytest.approx(100.0, abs=0.03)
    bearing = np.arctan2(walks.points_mm[:, 1], walks.points_mm[:, 0])
    off = (bearing - turn + pi) % (2 * pi) - pi
    assert np.abs(off).max() < np.radians(0.2)
    _, _, distance = nearest_on_mesh(mesh, walks.points_mm)
    assert distance.max() < 1e-9


def test_walk_stops_at_the_border() -> None:
    panel = cylinder_panel(100.0, 1.0, 120.0, 6.0)
    start, face, _ = nearest_on_mesh(panel, panel.bounds_mm().mean(axis=0)[None])
    walks = walk_straight(panel, start, face, np.array([[0.0, 0.0, 500.0]]))
    assert not walks.whole[0]
    assert walks.points_mm[0, 2] == pytest.approx(panel.bounds_mm()[1, 2], abs=1e-6)
