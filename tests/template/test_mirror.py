"""The one place where parts are mirrored."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.template.mirror import mirrored_name, mirrored_part
from fitkit.template.part import MatchMark, NamedLine, Part


def some_part() -> Part:
    ring = np.array([[0.0, 0.0], [40.0, 5.0], [30.0, 50.0], [5.0, 30.0]])
    closed = np.vstack([ring, ring[:1]])
    edges = tuple(NamedLine(f"left {i}", closed[i : i + 2]) for i in range(4))
    mark = MatchMark(np.array([20.0, 2.5]), np.array([0.0, 1.0]), "wearer's left", "left 0", False)
    return Part(ring, ring, edges, edges[:1], (NamedLine("centre", ring[[0, 2]]),), (mark,))


def test_mirroring_twice_gives_the_part_back() -> None:
    part = some_part()
    twice = mirrored_part(mirrored_part(part))
    assert twice.cut_mm == pytest.approx(part.cut_mm, abs=1e-12)
    assert [edge.name for edge in twice.edges] == [edge.name for edge in part.edges]
    for a, b in zip(twice.edges, part.edges, strict=True):
        assert a.points_mm == pytest.approx(b.points_mm, abs=1e-12)
    assert twice.marks[0].label == "wearer's left"


def test_mirrored_part_keeps_its_winding_and_its_edges_joined() -> None:
    part = mirrored_part(some_part())
    assert shapely.Polygon(part.cut_mm).exterior.is_ccw
    for edge, after in zip(part.edges, part.edges[1:] + part.edges[:1], strict=True):
        assert (edge.points_mm[-1] == after.points_mm[0]).all()
    assert part.marks[0].label == "wearer's right"
    assert part.cut_mm.min(axis=0) == pytest.approx([0.0, 0.0])


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("left shoulder", "right shoulder"),
        ("LEFT / Right", "RIGHT / Left"),
        ("leftover bright strap", "leftover bright strap"),
    ],
)
def test_side_words_are_exchanged_and_nothing_else(name: str, other: str) -> None:
    assert mirrored_name(name) == other
