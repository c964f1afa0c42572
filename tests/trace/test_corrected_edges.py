"""What a maker trimmed comes back as moves that make the same outline."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.template.correction import Correction, moved_edges
from fitkit.template.outline import cut_outline
from fitkit.template.part import NamedLine
from fitkit.trace.corrected_edges import corrected_edges

NAMES = ["waist", "side", "armhole", "neckline", "centre"]


def blank() -> list[Floats]:
    """Return a plate with straight edges and a hollow armhole."""
    arc = np.linspace(0.0, 1.0, 60)[:, None]
    a, b, c, d, e = np.array(
        [[0.0, 0.0], [180.0, 0.0], [190.0, 150.0], [120.0, 260.0], [0.0, 240.0]]
    )
    hollow = (1 - arc) ** 2 * c + 2 * arc * (1 - arc) * np.array([130.0, 170.0]) + arc**2 * d
    return [
        np.linspace(a, b, 40),
        np.linspace(b, c, 40),
        hollow,
        np.linspace(d, e, 40),
        np.linspace(e, a, 40),
    ]


def outline_of(edges: list[Floats], widths: list[float]) -> Floats:
    named = [NamedLine(name, edge) for name, edge in zip(NAMES, edges, strict=True)]
    return cut_outline("plate", named, widths).points_mm


def changed() -> list[Floats]:
    """Return the plate with 6 mm more at the waist and a bite of 4 mm out of the armhole."""
    edges = [edge.copy() for edge in blank()]
    # The sides run on to the new waist.
    edges[0] = np.linspace([0.0, -6.0], [180.0 - 6.0 * 10 / 150, -6.0], 40)
    edges[1] = np.linspace(edges[0][-1], edges[1][-1], 40)
    edges[4] = np.linspace(edges[4][0], edges[0][0], 40)
    ahead = np.gradient(edges[2], axis=0)
    inward = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    edges[2] = edges[2] + 4.0 * np.sin(np.linspace(0, np.pi, 60))[:, None] ** 2 * inward
    return edges


def off_mm(one: Floats, other: Floats) -> Floats:
    dense = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(one), 1.0))
    return np.asarray(shapely.distance(shapely.LinearRing(other), shapely.points(dense)))


@pytest.mark.parametrize("widths", [[0.0] * 5, [0.0, 12.0, 0.0, 0.0, 15.0]])
def test_applying_what_was_read_makes_the_traced_outline(widths: list[float]) -> None:
    want = outline_of(changed(), widths)
    correction = corrected_edges("plate", NAMES, blank(), widths, want)
    got = outline_of(moved_edges(NAMES, blank(), correction), widths)
    assert np.percentile(off_mm(got, want), 95) < 0.25
    assert off_mm(got, want).max() < 1.0
    moved = {move.line: move for move in correction.edges}
    assert np.median(moved["waist"].moves[:, 1]) == pytest.approx(6.0, abs=0.1)
    assert moved["armhole"].moves[:, 1].min() == pytest.approx(-4.0, abs=0.15)
    assert "neckline" not in moved


def test_an_unchanged_piece_with_a_cutters_wobble_corrects_nothing() -> None:
    edges = blank()
    ring = shapely.segmentize(shapely.LinearRing(outline_of(edges, [0.0] * 5)), 1.0)
    points = shapely.get_coordinates(ring)[:-1]
    wobble = 0.3 * np.sin(np.linspace(0.0, 80.0, len(points)))[:, None]
    got = corrected_edges("plate", NAMES, edges, [0.0] * 5, points + wobble * [0.7, 0.7])
    assert got == Correction("plate") or got.edges == ()


def test_rows_are_few_enough_to_read() -> None:
    correction = corrected_edges(
        "plate", NAMES, blank(), [0.0] * 5, outline_of(changed(), [0.0] * 5)
    )
    assert all(len(move.moves) <= 16 for move in correction.edges)
