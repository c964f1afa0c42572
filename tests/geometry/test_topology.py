from __future__ import annotations

import numpy as np
import pytest
import trimesh

from fitkit.errors import MeshError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import (
    boundary_loops,
    components,
    euler_characteristic,
    is_closed,
    is_manifold,
    largest_component,
    opposite_half_edges,
    vertex_adjacency,
)
from tests.truth import solids

BOW_TIE = TriangleMesh(
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [-2, 0, 0], [-2, -2, 0]], [[0, 1, 2], [0, 3, 4]]
)


def both(first: TriangleMesh, second: TriangleMesh) -> TriangleMesh:
    return TriangleMesh(
        np.vstack([first.vertices, second.vertices]),
        np.vstack([first.faces, second.faces + len(first.vertices)]),
    )


@pytest.mark.parametrize(
    ("mesh", "characteristic", "rims"),
    [
        (solids.sphere(50, 10), 2, 0),
        (solids.torus(80, 30, 10), 0, 0),
        (solids.spherical_cap(100, 1.0, 12), 1, 1),
        (solids.cylinder(40, 90, 10, capped=False), 0, 2),
        (both(solids.sphere(20, 8), solids.sphere(20, 8)), 4, 0),
    ],
    ids=["sphere", "torus", "disc", "sleeve", "two spheres"],
)
def test_euler_characteristic_is_that_of_the_shape(
    mesh: TriangleMesh, characteristic: int, rims: int
) -> None:
    """Euler-Poincare: V - E + F = 2 per sphere, 0 per torus, one less for each hole."""
    assert euler_characteristic(mesh) == characteristic
    assert len(boundary_loops(mesh)) == rims
    assert is_closed(mesh) == (rims == 0)
    assert (
        is_closed(mesh) == trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).is_watertight
    )


def test_a_border_keeps_the_mesh_on_its_left() -> None:
    """Seen from outside (+z here) a disc's border then runs counter-clockwise."""
    cap = solids.spherical_cap(100, 0.8, 10)
    (ring,) = boundary_loops(cap)
    x, y, _ = cap.vertices[ring].T
    area = 0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum()
    assert area == pytest.approx(np.pi * (100 * np.sin(0.8)) ** 2, rel=0.01)
    neighbours = vertex_adjacency(cap).tocsr()
    assert (neighbours[ring, np.roll(ring, -1)] == 1).all()


def test_borders_come_longest_first() -> None:
    sleeve = solids.frustum(60, 40, 100, 8, capped=False)
    long, short = boundary_loops(sleeve)
    assert np.allclose(sleeve.vertices[long, 2], 0)
    assert np.allclose(sleeve.vertices[short, 2], 100)


def test_borders_that_touch_in_a_vertex_keep_to_their_own_faces() -> None:
    loops = boundary_loops(BOW_TIE)
    assert [set(loop.tolist()) for loop in loops] == [{0, 3, 4}, {0, 1, 2}]


def test_pieces_are_numbered_and_the_largest_by_area_is_kept() -> None:
    small_and_fine, large_and_coarse = solids.sphere(10, 1.5), solids.sphere(60, 20)
    mesh = both(small_and_fine, large_and_coarse)
    labels = components(mesh)
    assert labels[0] == 0
    assert np.bincount(labels).tolist() == [len(small_and_fine.faces), len(large_and_coarse.faces)]
    kept = largest_component(mesh)
    assert kept.area_mm2() == pytest.approx(large_and_coarse.area_mm2())
    assert len(kept.vertices) == len(large_and_coarse.vertices)
    assert components(BOW_TIE).tolist() == [0, 1]


def test_opposite_half_edges_run_back_along_the_same_edge() -> None:
    ball = solids.sphere(30, 9)
    opposite = opposite_half_edges(ball)
    start, end = ball.faces.ravel(), np.roll(ball.faces, -1, axis=1).ravel()
    assert (start[opposite] == end).all()
    assert (end[opposite] == start).all()


def test_two_faces_on_one_side_of_an_edge_are_refused() -> None:
    flipped = TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0]], [[0, 1, 2], [0, 1, 3]])
    assert not is_manifold(flipped)
    assert not is_closed(flipped)
    with pytest.raises(MeshError, match="same side") as caught:
        boundary_loops(flipped)
    assert "Repair" in caught.value.remedy


def test_nothing_is_not_closed() -> None:
    nothing = TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    assert not is_closed(nothing)
    assert euler_characteristic(nothing) == 0
    assert boundary_loops(nothing) == ()
