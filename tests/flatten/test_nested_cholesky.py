"""The block solver against another library's, on meshes of every size."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_matrix, identity
from scipy.sparse.linalg import spsolve

from fitkit.flatten.nested_cholesky import NestedCholesky
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

MESHES = {
    "one triangle": TriangleMesh(np.eye(3), np.array([[0, 1, 2]])),
    "a fan": solids.spherical_cap(50.0, 0.9, 25.0),
    "a cap": solids.spherical_cap(50.0, 0.9, 3.0),
    "a long strip": solids.plane_rectangle(900.0, 6.0, 2.0),
    "a sleeve": solids.cylinder(40.0, 100.0, 5.0, capped=False),
}


@pytest.mark.parametrize("name", MESHES)
def test_solution_is_that_of_a_general_sparse_solver(name: str) -> None:
    """Same matrix, assembled and solved by scipy's SuperLU."""
    mesh = MESHES[name]
    rng = np.random.default_rng(11)
    roots = rng.normal(size=(len(mesh.faces), 6, 6))
    blocks = roots @ roots.transpose(0, 2, 1)
    unknowns = np.stack([2 * mesh.faces, 2 * mesh.faces + 1], axis=2).reshape(-1, 6)
    rows, columns = np.repeat(unknowns, 6, axis=1).ravel(), np.tile(unknowns, (1, 6)).ravel()
    matrix = coo_matrix((blocks.ravel(), (rows, columns))).tocsc()
    matrix += 0.01 * matrix.diagonal().mean() * identity(matrix.shape[0], format="csc")
    sides = rng.normal(size=(matrix.shape[0], 2))
    solver = NestedCholesky(mesh)
    expected = spsolve(matrix, sides)
    assert solver.solve(blocks, sides, stiffness=0.01) == pytest.approx(expected, rel=1e-7)
    one = solver.solve(blocks, sides[:, 0].copy(), stiffness=0.01)
    assert one == pytest.approx(expected[:, 0], rel=1e-7)


def test_same_system_gives_the_same_bits() -> None:
    mesh = MESHES["a cap"]
    roots = np.random.default_rng(2).normal(size=(len(mesh.faces), 6, 6))
    blocks = roots @ roots.transpose(0, 2, 1)
    side = np.ones(2 * len(mesh.vertices))
    first, second = (NestedCholesky(mesh).solve(blocks, side, stiffness=1e-9) for _ in range(2))
    assert first.tobytes() == second.tobytes()
