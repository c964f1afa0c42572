"""Hatching and dots over a relief whose levels are known: a cone standing on a disc."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.mesh import TriangleMesh
from fitkit.shop.scanned_relief import ScannedRelief, scanned_relief
from tests.truth import solids


def cone(across: tuple[float, float]) -> ScannedRelief:
    """Return a disc of radius 100 mm, its relief the way left to the rim, scanned at 5 mm."""
    disc = solids.saddle(100.0, 0.0, 4.0)
    x, y, _ = disc.vertices.T
    relief = TriangleMesh(np.column_stack([x, y, 100.0 - np.hypot(x, y)]), disc.faces)
    return scanned_relief(relief, np.array(across), 5.0, 0.5)


@pytest.mark.parametrize("across", [(0.0, 1.0), (0.6, -0.8)])
def test_strokes_are_the_chords_of_the_level_circle(across: tuple[float, float]) -> None:
    """Higher than 40 lies within radius 60: chords of 2 sqrt(60^2 - d^2), one a line."""
    strokes = cone(across).strokes_above(40.0)
    levels = strokes @ np.array(across)
    assert levels[:, 0] == pytest.approx(levels[:, 1], abs=1e-9)
    assert np.sort(levels[:, 0]) == pytest.approx(np.arange(-57.5, 60.0, 5.0), abs=1e-9)
    lengths = np.linalg.norm(strokes[:, 1] - strokes[:, 0], axis=1)
    # The relief is straight along edges of 4 mm.
    assert lengths == pytest.approx(2.0 * np.sqrt(60.0**2 - levels[:, 0] ** 2), abs=1.5)


def test_places_lie_evenly_where_the_relief_is_low() -> None:
    """Lower than 40 lies outside radius 60: of places 5 by 5 mm apart their share of the area."""
    scanned = cone((0.0, 1.0))
    places = scanned.places_below(40.0, 5.0, np.zeros(len(scanned.row)))
    assert np.linalg.norm(places, axis=1).min() > 59.5
    assert places[:, 0] == pytest.approx(5.0 * np.round(places[:, 0] / 5.0), abs=1e-9)
    assert len(places) == pytest.approx(np.pi * (100.0**2 - 60.0**2) / 25.0, rel=0.03)
    assert len(np.unique(np.round(places, 6), axis=0)) == len(places)


def test_nothing_is_hatched_where_nothing_is_high() -> None:
    assert cone((0.0, 1.0)).strokes_above(200.0).shape == (0, 2, 2)
