"""Two plates side by side that are told to swell into each other."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from fitkit.capture.gap_guard import kept_apart
from fitkit.geometry.mesh import TriangleMesh


def _plates(gap_mm: float) -> TriangleMesh:
    """Return plates 60 mm high and wide, 20 thick, whose facing sides are at -/+ gap / 2."""
    vertices, faces = [], []
    for side in (-1.0, 1.0):
        box = trimesh.creation.box((20.0, 60.0, 60.0)).subdivide().subdivide().subdivide()
        faces.append(np.asarray(box.faces) + sum(map(len, vertices)))
        vertices.append(np.asarray(box.vertices) + np.array([side * (0.5 * gap_mm + 10.0), 0, 0]))
    return TriangleMesh(np.vstack(vertices), np.vstack(faces).astype(np.int64))


def _swollen(mesh: TriangleMesh, by_mm: float) -> TriangleMesh:
    return mesh.with_vertices(mesh.vertices + by_mm * mesh.vertex_normals())


def _gap_mm(mesh: TriangleMesh) -> float:
    """Return the gap between the middles of the plates, whose rims turn away."""
    half = len(mesh.vertices) // 2
    middle = (np.abs(mesh.vertices[:, 1:]) < 20.0).all(axis=1)
    left, right = mesh.vertices[:half][middle[:half]], mesh.vertices[half:][middle[half:]]
    return float(right[:, 0].min() - left[:, 0].max())


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_a_gap_keeps_eight_millimetres_at_the_scale_of_the_subject(scale: float) -> None:
    mesh = _plates(scale * 20.0)
    kept = kept_apart(mesh, _swollen(mesh, scale * 12.0), scale=scale)
    assert _gap_mm(kept) == pytest.approx(scale * 8.0, abs=0.02)
    outer = np.isclose(np.abs(mesh.vertices[:, 0]), np.abs(mesh.vertices[:, 0]).max())
    free = _swollen(mesh, scale * 12.0).vertices[outer]
    assert np.allclose(kept.vertices[outer], free)


def test_moves_that_leave_the_gap_open_are_as_they_were() -> None:
    mesh = _plates(20.0)
    for by_mm in (5.9, -4.0):
        moved = _swollen(mesh, by_mm)
        assert np.allclose(kept_apart(mesh, moved, scale=1.0).vertices, moved.vertices)


def test_a_narrow_gap_may_grow_and_does_not_shrink() -> None:
    mesh = _plates(5.0)
    assert _gap_mm(kept_apart(mesh, _swollen(mesh, 1.0), scale=1.0)) == pytest.approx(5.0, abs=0.02)
    assert _gap_mm(kept_apart(mesh, _swollen(mesh, -1.0), scale=1.0)) == pytest.approx(
        7.0, abs=0.02
    )
