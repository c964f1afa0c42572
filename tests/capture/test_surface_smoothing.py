"""Smoothing of moves against a direct solution, and of gaps on a ball."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from fitkit.capture.surface_smoothing import averaging, fair, smooth_moves
from fitkit.geometry.topology import vertex_adjacency
from tests.truth.solids import sphere

_BALL = sphere(100.0, 12.0)


def test_moves_are_those_of_a_direct_solution() -> None:
    """Without outliers, to a hundredth of the moves: the solver stops at a thousandth."""
    averaged = averaging(sp.csr_array(vertex_adjacency(_BALL)))
    rng = np.random.default_rng(5)
    count = len(_BALL.vertices)
    wanted = 0.01 * _BALL.vertices[:, 2] + rng.normal(0.0, 0.02, count)
    certainty = rng.uniform(0.0, 2.0, count)
    got = smooth_moves(wanted, certainty, averaged, stiffness=0.5, step_mm=1e6)
    rough = np.eye(count) - averaged.toarray()
    left = np.diag(certainty + 1e-4) + 0.5 * rough.T @ rough
    exact = np.linalg.solve(left, certainty * wanted)
    assert np.abs(got - exact).max() < 0.01 * np.abs(wanted).max()


def test_a_move_far_off_its_neighbours_counts_less() -> None:
    averaged = averaging(sp.csr_array(vertex_adjacency(_BALL)))
    wanted = np.zeros(len(_BALL.vertices))
    wanted[0] = 10.0
    certainty = np.ones(len(wanted))
    trusting = smooth_moves(wanted, certainty, averaged, stiffness=0.5, step_mm=1e6)
    wary = smooth_moves(wanted, certainty, averaged, stiffness=0.5, step_mm=0.5)
    assert 0.0 < wary[0] < 0.25 * trusting[0]


def test_a_dent_that_nobody_holds_is_spanned_as_its_surroundings_go_on() -> None:
    way = _BALL.vertices / 100.0
    free = way[:, 2] > 0.9
    dented = _BALL.with_vertices(_BALL.vertices - 8.0 * free[:, None] * way)
    faired = fair(dented, np.where(free, 0.0, 4.0))
    off = np.linalg.norm(faired.vertices, axis=1) - 100.0
    assert np.abs(off[free]).max() < 2.0
    assert np.abs(off[~free]).max() < 0.5
