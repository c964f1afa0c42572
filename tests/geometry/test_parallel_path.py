"""Parallels and rounds held against closed forms and, on the flat, against Shapely's offsets."""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np
import pytest
import shapely

from fitkit.errors import PathError
from fitkit.geometry.geodesic import join_paths, shortest_legs
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.parallel_path import parallel_path
from fitkit.geometry.round_path import round_path
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from tests.truth.solids import cylinder, plane_rectangle, sphere

SPHERE = sphere(200.0, 8.0)
SHEET = plane_rectangle(400.0, 400.0, 9.0)


def points_on(mesh: TriangleMesh, places: list[tuple[float, float, float]]) -> list[SurfacePoint]:
    on, faces, _ = nearest_on_mesh(mesh, np.array(places, dtype=float))
    return [SurfacePoint(point, int(face)) for point, face in zip(on, faces, strict=True)]


def assert_on(mesh: TriangleMesh, path: SurfacePath) -> None:
    """Every segment lies in the triangle it names."""
    points = path.round_points_mm
    middles = 0.5 * (points[:-1] + points[1:])
    corners = mesh.corners[path.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    for k in range(3):
        edge = np.roll(corners, -1, axis=1)[:, k] - corners[:, k]
        side = np.einsum("ni,ni->n", np.cross(edge, middles - corners[:, k]), normals)
        assert (side / np.linalg.norm(edge, axis=1)).min() > -1e-6
    assert np.abs(np.einsum("ni,ni->n", middles - corners[:, 0], normals)).max() < 1e-6


@pytest.mark.parametrize("distance", [30.0, -80.0, 150.0])
def test_parallel_of_the_equator_is_a_circle_of_latitude(distance: float) -> None:
    """Length 2 pi R cos(d / R), at d from the equator; within the mesh's own chord error."""
    (equator, *_) = plane_sections(SPHERE, np.zeros(3), np.array([0.0, 0.0, 1.0]))
    path = parallel_path(SPHERE, equator, distance)
    assert path.closed
    assert_on(SPHERE, path)
    latitude = np.arcsin(path.points_mm[:, 2] / np.linalg.norm(path.points_mm, axis=1))
    assert 200 * latitude == pytest.approx(distance, abs=0.06)
    assert path.length_mm() == pytest.approx(2 * pi * 200 * cos(distance / 200), rel=1e-3)


def zigzag() -> tuple[SurfacePath, shapely.LineString]:
    places = [(100.0, 0, 150.0), (200.0, 0, 150.0), (200.0, 0, 260.0), (300.0, 0, 260.0)]
    path = join_paths(shortest_legs(SHEET, points_on(SHEET, places)))
    return path, shapely.LineString([(x, z) for x, _, z in places])


@pytest.mark.parametrize("distance", [15.0, -15.0, 45.0])
def test_parallel_round_corners_is_the_flat_offset(distance: float) -> None:
    """Shapely's round offset; 0.4 mm where two pieces of the parallel meet at a corner."""
    path, flat = zigzag()
    drawn = shapely.LineString(parallel_path(SHEET, path, distance).points_mm[:, ::2])
    # The sheet's outside is where its triangles turn counter-clockwise: towards -y or +y.
    offsets = [flat.offset_curve(sign * distance, quad_segs=90) for sign in (1, -1)]
    assert drawn.is_simple
    assert min(drawn.hausdorff_distance(offset) for offset in offsets) < 0.4


def test_parallels_of_a_closed_line_lie_in_and_out() -> None:
    places = [(140.0, 0, 150.0), (250.0, 0, 140.0), (260.0, 0, 260.0), (200.0, 0, 200.0),
              (100.0, 0, 260.0)]  # fmt: skip
    path = join_paths(shortest_legs(SHEET, points_on(SHEET, places), closed=True), closed=True)
    shape = shapely.Polygon([(x, z) for x, _, z in places])
    wanted = {side: shapely.buffer(shape, side, quad_segs=90).exterior for side in (20.0, -20.0)}
    gaps = []
    for distance in (20.0, -20.0):
        drawn = shapely.LinearRing(parallel_path(SHEET, path, distance).points_mm[:, ::2])
        assert drawn.is_simple
        gaps.append({side: drawn.hausdorff_distance(ring) for side, ring in wanted.items()})
    assert {min(gap, key=lambda side: gap[side]) for gap in gaps} == {20.0, -20.0}
    assert max(min(gap.values()) for gap in gaps) < 0.5


def test_parallel_off_the_sheet_is_refused_with_the_place() -> None:
    path, _ = zigzag()
    with pytest.raises(PathError, match="runs off the surface") as caught:
        parallel_path(SHEET, path, 170.0)
    x, _, z = caught.value.place_mm
    assert min(x, z, 400 - x, 400 - z) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("radius", [10.0, 60.0, 250.0])
def test_round_on_a_sphere_is_a_small_circle(radius: float) -> None:
    """Length 2 pi R sin(r / R)."""
    (centre,) = points_on(SPHERE, [(200.0, 3.0, 11.0)])
    path = round_path(SPHERE, centre, radius)
    assert_on(SPHERE, path)
    unit = path.points_mm / np.linalg.norm(path.points_mm, axis=1, keepdims=True)
    towards = centre.point_mm / np.linalg.norm(centre.point_mm)
    assert 200 * np.arccos(unit @ towards) == pytest.approx(radius, abs=0.1)
    assert path.length_mm() == pytest.approx(2 * pi * 200 * sin(radius / 200), rel=2e-3)


def test_round_that_meets_itself_behind_a_limb_is_refused() -> None:
    """Round a tube of radius 40 the string of 140 > 40 pi comes back from the other side."""
    tube = cylinder(40.0, 500.0, 8.0)
    (centre,) = points_on(tube, [(40.0, 0.0, 250.0)])
    assert round_path(tube, centre, 100.0).closed
    with pytest.raises(PathError, match="comes back on itself"):
        round_path(tube, centre, 140.0)


def test_parallels_step_on_from_each_other() -> None:
    """On the sphere three steps of 20 mm are one of 60 mm."""
    (equator, *_) = plane_sections(SPHERE, np.zeros(3), np.array([0.0, 0.0, 1.0]))
    path = equator
    for _ in range(3):
        path = parallel_path(SPHERE, path, 20.0)
    at_once = parallel_path(SPHERE, equator, 60.0)
    assert path.length_mm() == pytest.approx(at_once.length_mm(), rel=5e-4)
    assert path.points_mm[:, 2] == pytest.approx(at_once.points_mm[:, 2].mean(), abs=0.2)
