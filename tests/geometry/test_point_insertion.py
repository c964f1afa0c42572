"""Points made into vertices."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.geometry.point_insertion import insert_points
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import euler_characteristic, is_closed
from tests.truth.solids import sphere


def test_points_become_vertices_and_the_surface_stays() -> None:
    mesh = sphere(100, 30)
    generator = np.random.default_rng(2)
    faces = generator.integers(0, len(mesh.faces), 60)
    shares = generator.dirichlet([0.6, 0.6, 0.6], 60)
    points = [
        SurfacePoint(share @ mesh.corners[face], face)
        for share, face in zip(shares, faces, strict=True)
    ]
    new, vertices, source = insert_points(mesh, points)
    assert new.vertices[vertices] == pytest.approx(np.array([p.point_mm for p in points]), abs=2e-5)
    assert new.vertices[: len(mesh.vertices)] == pytest.approx(mesh.vertices, abs=0)
    assert new.area_mm2() == pytest.approx(mesh.area_mm2(), rel=1e-12)
    assert euler_characteristic(new) == 2
    assert is_closed(new)
    # Each new face lies in its source: areas add up face by face.
    parts = np.bincount(source, weights=new.face_areas_mm2(), minlength=len(mesh.faces))
    assert parts == pytest.approx(mesh.face_areas_mm2(), rel=1e-9)


def test_vertices_and_repeated_points_are_used_again() -> None:
    mesh = sphere(100, 30)
    a, b, c = mesh.faces[5]
    corner = SurfacePoint(mesh.vertices[a], 5)
    middle = SurfacePoint(0.5 * (mesh.vertices[b] + mesh.vertices[c]), 5)
    new, vertices, _ = insert_points(mesh, [corner, middle, corner, middle])
    assert vertices[0] == vertices[2] == a
    assert vertices[1] == vertices[3] == len(mesh.vertices)
    # One new vertex on an edge parts two faces.
    assert len(new.faces) == len(mesh.faces) + 2


def test_point_off_its_face_is_refused() -> None:
    mesh = sphere(100, 30)
    with pytest.raises(MeshError, match="off triangle 5"):
        insert_points(mesh, [SurfacePoint(mesh.corners[5].mean(axis=0) * 1.01, 5)])
    with pytest.raises(MeshError, match="names triangle"):
        insert_points(mesh, [SurfacePoint(mesh.vertices[0], len(mesh.faces))])
