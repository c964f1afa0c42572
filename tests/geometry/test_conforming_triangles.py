"""Triangles inside an outline keep every edge asked for."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.conforming_triangles import conforming_triangles


def area(points: np.ndarray, faces: np.ndarray) -> float:
    p = points[faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    return float(0.5 * (e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]).sum())


def test_hollow_outline_and_a_line_across_are_kept() -> None:
    """An L of area 3, points scattered over it and a slanting line that Delaunay would cross."""
    outline = np.array([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]], dtype=float)
    line = np.array([[0.05, 1.9], [0.9, 0.06]])
    rng = np.random.default_rng(3)
    scattered = rng.uniform(0.1, 0.9, (60, 2))
    points = np.vstack([outline, line, scattered])
    found = conforming_triangles(points, np.arange(6), [np.array([6, 7])])
    assert found is not None
    assert area(found.points_mm, found.faces) == pytest.approx(3.0, rel=1e-12)
    edges = {
        tuple(sorted(pair))
        for face in found.faces.tolist()
        for pair in zip(face, [*face[1:], face[0]], strict=True)
    }
    for chain in (np.append(found.ring, found.ring[0]), *found.chains):
        for pair in zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True):
            assert tuple(sorted(pair)) in edges
    ends = found.points_mm[found.chains[0][[0, -1]]]
    assert (ends == line).all()
    kept = found.source[found.source >= 0]
    assert (found.points_mm[found.source >= 0] == points[kept]).all()
    assert set(range(8)) <= set(kept.tolist()), "outline and line points always stay"
