"""Match marks on edges made by hand, so that every place is known."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatEdge
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Floats
from fitkit.template.match_marks import match_marks
from tests.template.parts import dome, vambrace


def straight(
    formed_start: tuple[float, float, float],
    formed_end: tuple[float, float, float],
    neighbours: tuple[tuple[int, str], ...] = (),
    line: str = "waist",
) -> tuple[FlatEdge, Floats]:
    """Return an edge along +x on the flat, straight on the form, a point every 10 mm."""
    a, b = np.array(formed_start), np.array(formed_end)
    length = float(np.linalg.norm(b - a))
    arc = np.linspace(0.0, length, round(length / 10.0) + 1)
    flat = np.column_stack([arc, np.zeros_like(arc)])
    formed = a + (b - a) * (arc / length)[:, None]
    return FlatEdge(line, flat, arc, neighbours), formed


def test_numbers_divide_the_edge_evenly_from_its_lower_end() -> None:
    up = straight((0, 0, 0), (0, 0, 240))
    down = straight((0, 0, 240), (0, 0, 0))
    for (edge, formed), order in ((up, ["1", "2", "3"]), (down, ["3", "2", "1"])):
        marks = match_marks([edge], [formed], [0.0])
        assert [mark.label for mark in marks] == order
        assert [mark.at_mm[0] for mark in marks] == pytest.approx([60.0, 120.0, 180.0])
        for mark in marks:
            assert mark.inward == pytest.approx([0.0, 1.0])


def test_level_edges_are_numbered_from_the_front_else_from_the_wearers_right() -> None:
    backwards = straight((0, -100, 5), (0, 100, 0))
    marks = match_marks([backwards[0]], [backwards[1]], [0.0])
    assert [mark.label for mark in marks] == ["1", "2"]
    leftwards = straight((100, 0, 0), (-100, 0, 0))
    marks = match_marks([leftwards[0]], [leftwards[1]], [0.0])
    assert [mark.label for mark in marks] == ["2", "1"]


def test_crossing_bears_the_name_of_the_line_and_the_count_goes_on() -> None:
    edge, formed = straight((0, 0, 0), (0, 0, 300), ((0, "hem"), (12, "rib line"), (30, "collar")))
    marks = match_marks([edge], [formed], [8.0])
    crossing = [mark for mark in marks if mark.crossing]
    assert [(m.label, m.at_mm[0], m.outward_mm) for m in crossing] == [("rib line", 120.0, 8.0)]
    numbered = [(m.label, m.at_mm[0]) for m in marks if not m.crossing]
    assert numbered == [("1", 60.0), ("2", 180.0), ("3", 240.0)]


def test_short_edges_get_no_numbers() -> None:
    edge, formed = straight((0, 0, 0), (0, 0, 80))
    assert match_marks([edge], [formed], [0.0]) == ()


def test_round_rim_is_quartered_by_the_way_it_faces() -> None:
    flat = dome()
    formed = formed_edges(flat)
    marks = match_marks(flat.outline, formed, [0.0])
    assert {mark.label for mark in marks} == {"front", "back", "wearer's left", "wearer's right"}
    (edge,) = flat.outline
    expected = {
        "front": (0, -1),
        "back": (0, 1),
        "wearer's left": (1, 0),
        "wearer's right": (-1, 0),
    }
    for mark in marks:
        k = int(np.argmin(np.linalg.norm(edge.points_mm - mark.at_mm, axis=1)))
        bearing = formed[0][k, :2] / np.linalg.norm(formed[0][k, :2])
        assert bearing @ np.array(expected[mark.label]) > 0.99


def test_seam_sides_carry_the_same_numbers_at_the_same_heights() -> None:
    flat = vambrace()
    formed = formed_edges(flat)
    marks = [m for m in match_marks(flat.outline, formed, [0.0] * 4) if m.line == "seam"]
    assert sorted(m.label for m in marks) == ["1", "1", "2", "2"]
    for label in ("1", "2"):
        a, b = (m for m in marks if m.label == label)
        # Up is +y on neither yet; the height along up tells.
        assert a.at_mm @ flat.up == pytest.approx(b.at_mm @ flat.up, abs=0.5)


def test_opened_round_is_counted_through_its_seam() -> None:
    """The elbow line is met at front and back: two spans, counted on from the front."""
    flat = vambrace()
    marks = match_marks(flat.outline, formed_edges(flat), [0.0] * 4)
    elbow = [m for m in marks if m.line == "elbow level"]
    assert [m.label for m in elbow if m.crossing] == ["front line"]
    assert sorted(m.label for m in elbow if not m.crossing) == ["1", "2", "3", "4"]
