"""The mesh value measures simple solids exactly."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import ShapeError
from fitkit.geometry.mesh import TriangleMesh

CUBE = TriangleMesh(
    np.array([[x, y, z] for x in (0.0, 2.0) for y in (0.0, 2.0) for z in (0.0, 2.0)]),
    np.array(
        [
            [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
            [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
        ]
    ),
)  # fmt: skip


def test_a_cube_has_its_area_and_volume() -> None:
    assert CUBE.area_mm2() == pytest.approx(24.0, abs=1e-12)
    assert CUBE.volume_mm3() == pytest.approx(8.0, abs=1e-12)
    np.testing.assert_array_equal(CUBE.bounds_mm(), [[0, 0, 0], [2, 2, 2]])


def test_normals_of_an_outward_solid_point_away_from_its_middle() -> None:
    outward = ((CUBE.vertices - 1.0) * CUBE.vertex_normals()).sum(axis=1)
    assert (outward > 0.9).all()
    np.testing.assert_allclose(np.linalg.norm(CUBE.vertex_normals(), axis=1), 1.0)


def test_a_choice_of_faces_keeps_only_their_vertices() -> None:
    part, old = CUBE.faces_only(np.array([0, 1]))
    assert part.vertices.shape == (4, 3)
    np.testing.assert_array_equal(part.vertices, CUBE.vertices[old])
    assert part.area_mm2() == pytest.approx(4.0)


def test_a_face_of_a_missing_vertex_is_refused() -> None:
    with pytest.raises(ShapeError):
        TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 3]]))


def test_the_mirror_image_of_a_solid_faces_outwards() -> None:
    other = CUBE.mirrored()
    assert other.volume_mm3() == pytest.approx(8.0, abs=1e-12)
    np.testing.assert_array_equal(other.bounds_mm(), [[-2, 0, 0], [0, 2, 2]])
    np.testing.assert_array_equal(other.mirrored().vertices, CUBE.vertices)
