"""Allowances against areas in closed form."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.template.outline import cut_outline
from fitkit.template.part import NamedLine


def edges_of(corners: list[tuple[float, float]]) -> list[NamedLine]:
    points = np.array([*corners, corners[0]], dtype=np.float64)
    return [NamedLine(f"edge {i}", points[i : i + 2]) for i in range(len(corners))]


def area(points: Floats) -> float:
    return float(shapely.Polygon(points).area)


def test_without_allowances_the_blank_is_cut_as_it_is() -> None:
    edges = edges_of([(0, 0), (30, 0), (10, 20)])
    assert (cut_outline("x", edges, [0.0] * 3).points_mm == [[0, 0], [30, 0], [10, 20]]).all()


def test_lap_along_an_outward_arc_has_the_area_of_its_ring() -> None:
    """Half ring between r and r + w: pi w (2 r + w) / 2 (closed form)."""
    turn = np.linspace(-np.pi / 2.0, np.pi / 2.0, 400)
    arc = 50.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    edges = [NamedLine("rim", arc), NamedLine("chord", arc[[-1, 0]])]
    blank = area(cut_outline("x", edges, [0.0, 0.0]).points_mm)
    lapped = area(cut_outline("x", edges, [12.0, 0.0]).points_mm)
    assert lapped - blank == pytest.approx(np.pi * 12.0 * (100.0 + 12.0) / 2.0, rel=5e-4)


def test_lap_along_an_inward_arc_has_the_area_of_its_ring() -> None:
    """Half ring between r - w and r: pi w (2 r - w) / 2 (closed form)."""
    turn = np.linspace(np.pi / 2.0, -np.pi / 2.0, 400)
    arc = 50.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    box = np.array([[0, -50], [0, -60], [80, -60], [80, 60], [0, 60], [0, 50]], dtype=float)
    edges = [NamedLine("hollow", arc), NamedLine("rest", box)]
    blank = area(cut_outline("x", edges, [0.0, 0.0]).points_mm)
    lapped = area(cut_outline("x", edges, [12.0, 0.0]).points_mm)
    assert lapped - blank == pytest.approx(np.pi * 12.0 * (100.0 - 12.0) / 2.0, rel=2e-3)


def test_sharp_corner_between_two_laps_is_cut_off_short() -> None:
    """Between two edges at 10 degrees a drawn-out tip would stand out 11 widths."""
    edges = edges_of([(0, 0), (100, 0), (0, 17.6)])
    outline = cut_outline("x", edges, [8.0, 8.0, 0.0]).points_mm
    assert np.linalg.norm(outline - np.array([100.0, 0.0]), axis=1).min() < 8.1
    assert outline[:, 0].max() < 100.0 + 16.0
    assert shapely.Polygon(outline).is_valid


def test_lap_in_a_narrow_notch_is_told_to_run_into_the_part() -> None:
    notch = [(0, 0), (60, 0), (60, 60), (33, 60), (33, 20), (27, 20), (27, 60), (0, 60)]
    edges = edges_of([(float(x), float(y)) for x, y in notch])
    widths = [0.0] * len(edges)
    widths[3] = 10.0
    outline = cut_outline("gauntlet", edges, widths)
    (finding,) = [f for f in outline.findings if f.code == "allowance-hits-part"]
    assert finding.where == "gauntlet"
    assert "'edge 3'" in finding.message
    assert finding.number == pytest.approx(0.4, abs=0.02)
    assert finding.remedy


def test_laps_that_close_a_gap_are_told() -> None:
    horseshoe = [
        (0, 0),
        (60, 0),
        (60, 60),
        (36, 60),
        (45, 30),
        (30, 15),
        (15, 30),
        (24, 60),
        (0, 60),
    ]
    edges = edges_of([(float(x), float(y)) for x, y in horseshoe])
    widths = [0.0] * len(edges)
    widths[3] = 16.0
    codes = {f.code for f in cut_outline("cheek", edges, widths).findings}
    assert "allowance-closes-gap" in codes


def test_outline_stays_counter_clockwise_and_simple() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 90)[:-1]
    radius = 60.0 + 12.0 * np.sin(5.0 * turn)
    ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    edges = [NamedLine("a", ring[:45]), NamedLine("b", np.vstack([ring[44:], ring[:1]]))]
    polygon = shapely.Polygon(cut_outline("x", edges, [10.0, 6.0]).points_mm)
    assert polygon.is_valid
    assert polygon.exterior.is_ccw
    assert polygon.contains(shapely.Polygon(ring).buffer(-1e-6))


@pytest.mark.parametrize("bow_mm", [-6.0, 0.0, 6.0])
def test_a_turned_strip_along_a_bowed_edge_leaves_no_thorn_at_its_mitres(bow_mm: float) -> None:
    """A strip folded at 90° corners is mitred at 45°: no corner of the outline is sharper."""
    share = np.linspace(0.0, 1.0, 60)
    foot = np.column_stack([120.0 * share, -4.0 * bow_mm * share * (1.0 - share)])
    corners = np.array([[120.0, 0.0], [120.0, 80.0], [0.0, 80.0], [0.0, 0.0]])
    edges = [NamedLine("foot", foot)]
    edges += [NamedLine(f"side {k}", corners[k : k + 2]) for k in range(3)]
    ring = cut_outline("x", edges, [9.0, 0.0, 0.0, 0.0], [True, False, False, False]).points_mm
    before, after = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    inside = np.arctan2(
        after[:, 0] * before[:, 1] - after[:, 1] * before[:, 0], np.sum(after * before, axis=1)
    ) % (2.0 * np.pi)
    assert np.degrees(inside.min()) > 40.0
