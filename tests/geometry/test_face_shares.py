"""Shares of a triangle's corners give its places back."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.face_shares import face_shares
from fitkit.geometry.mesh import TriangleMesh


def test_shares_are_the_barycentric_coordinates_a_place_was_made_from() -> None:
    rng = np.random.default_rng(3)
    mesh = TriangleMesh(rng.normal(size=(30, 3)) * 50.0, np.arange(30).reshape(10, 3))
    wanted = rng.dirichlet(np.ones(3), 40)
    faces = rng.integers(0, 10, 40)
    points = np.einsum("nk,nki->ni", wanted, mesh.corners[faces])
    assert face_shares(mesh, points, faces) == pytest.approx(wanted, abs=1e-9)


def test_corner_is_all_its_own() -> None:
    mesh = TriangleMesh(np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    shares = face_shares(mesh, mesh.vertices, np.zeros(3, dtype=np.int64))
    assert shares == pytest.approx(np.eye(3))
