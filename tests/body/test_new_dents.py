"""Dents of known depth are found, and what only grows or was there before is none."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.adapt_findings import shape_findings
from fitkit.body.body import Body
from fitkit.body.new_dents import new_dents_mm
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

BALL = solids.sphere(120, 7)
PLACE = np.array([0.0, -120.0, 0.0])


def pushed(mesh: TriangleMesh, depth_mm: float, wide_mm: float = 12.0) -> TriangleMesh:
    """Push a round dent into a ball from the front."""
    away = np.linalg.norm(BALL.vertices - PLACE, axis=1)
    push = depth_mm * np.exp(-0.5 * (away / wide_mm) ** 2)
    return mesh.with_vertices(mesh.vertices + push[:, np.newaxis] * np.array([0.0, 1.0, 0.0]))


def test_growing_evenly_or_along_one_way_makes_no_dent() -> None:
    for stretch in ([1.2, 1.2, 1.2], [1.3, 1.0, 1.0], [0.9, 1.0, 1.2]):
        grown = BALL.with_vertices(BALL.vertices * np.array(stretch))
        assert new_dents_mm(BALL, grown).max() < 0.3


@pytest.mark.parametrize("depth_mm", [6.0, 10.0, 15.0])
def test_a_dent_is_found_where_it_is_and_deeper_ones_count_more(depth_mm: float) -> None:
    dents = new_dents_mm(BALL, pushed(BALL, depth_mm))
    assert np.linalg.norm(BALL.vertices[np.argmax(dents)] - PLACE) < 10.0
    # A ball's own roundness, 20^2 / (2 x 120) = 1.7 mm, and the mean about it take from the depth.
    assert 0.3 * depth_mm < dents.max() < depth_mm


def test_a_dent_that_was_there_may_grow_with_the_body() -> None:
    before = pushed(BALL, 10.0)
    after = before.with_vertices(1.15 * before.vertices)
    assert new_dents_mm(before, after).max() < 0.2


def test_a_dent_deeper_than_a_millimetre_is_a_finding_with_its_place() -> None:
    start = Body(BALL, np.zeros(len(BALL.vertices)))
    dented = Body(pushed(BALL, 8.0), start.trust_mm)
    (found,) = shape_findings(start, dented, ())
    assert found.code == "adapt-dent"
    assert "y -11" in found.message
    assert found.number is not None
    assert found.number > 1.0
    assert shape_findings(start, start, ()) == []
