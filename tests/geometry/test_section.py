from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.errors import ShapeError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_path import SurfacePath
from tests.truth import solids

BALL = solids.sphere(100, 9)


def assert_on_its_faces(mesh: TriangleMesh, path: SurfacePath) -> None:
    following = np.roll(path.points_mm, -1, axis=0)[: len(path.faces)]
    for points in (path.points_mm[: len(path.faces)], following):
        a, b, c = np.moveaxis(mesh.corners[path.faces], 1, 0)
        cross = [np.cross(q - p, points - p) for p, q in ((a, b), (b, c), (c, a))]
        whole = np.linalg.norm(mesh.face_normals_scaled()[path.faces], axis=1)
        parts = sum(np.linalg.norm(part, axis=1) for part in cross)
        assert np.allclose(parts, whole, rtol=1e-9)


def signed_area(path: SurfacePath) -> float:
    x, y, _ = path.points_mm.T
    return float(0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum())


def test_a_cylinder_is_cut_in_the_polygon_it_is_made_of() -> None:
    """Closed form: n chords of 2 r sin(pi / n), here also through the vertices of a row."""
    cylinder = solids.cylinder(50, 100, 10)
    n = round(2 * np.pi * 50 / 10)
    for height in (37.0, 50.0):
        (ring,) = plane_sections(cylinder, [0, 0, height], [0, 0, 3])
        assert ring.closed
        assert ring.length_mm() == pytest.approx(n * 100 * np.sin(np.pi / n), abs=1e-9)
        assert np.ptp(ring.points_mm[:, 2]) < 1e-12
        assert_on_its_faces(cylinder, ring)


def test_a_cut_turns_counter_clockwise_seen_from_the_tip_of_the_normal() -> None:
    cylinder = solids.cylinder(50, 100, 10)
    (up,) = plane_sections(cylinder, [0, 0, 41], [0, 0, 1])
    (down,) = plane_sections(cylinder, [0, 0, 41], [0, 0, -1])
    assert signed_area(up) > 0
    assert signed_area(down) == pytest.approx(-signed_area(up))
    assert up.length_mm() == pytest.approx(down.length_mm())


def test_a_torus_cut_level_gives_its_outside_one_way_and_its_hole_the_other() -> None:
    outer, hole = plane_sections(solids.torus(80, 30, 4), [0, 0, 0.5], [0, 0, 1])
    assert signed_area(outer) == pytest.approx(np.pi * 110**2, rel=0.01)
    assert signed_area(hole) == pytest.approx(-np.pi * 50**2, rel=0.01)


def test_open_surfaces_are_cut_in_open_paths() -> None:
    panel = solids.cylinder_panel(60, 1.2, 100, 6)
    (path,) = plane_sections(panel, [0, 0, 31], [0, 0, 1])
    assert not path.closed
    assert path.length_mm() == pytest.approx(60 * 1.2, rel=1e-3)
    assert path.points_mm[0, 0] < path.points_mm[-1, 0], "runs like the whole round would"


@settings(deadline=None, max_examples=40)
@given(
    st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda n: np.linalg.norm(n) > 0.1),
    st.floats(-95, 95),
)
def test_sections_have_the_length_trimesh_finds(
    normal: tuple[float, float, float], offset: float
) -> None:
    """Reference library: trimesh's own plane section."""
    unit = np.array(normal) / np.linalg.norm(normal)
    (ring,) = plane_sections(BALL, offset * unit, normal)
    reference = trimesh.Trimesh(BALL.vertices, BALL.faces, process=False).section(
        unit, offset * unit
    )
    assert reference is not None
    assert ring.closed
    assert ring.length_mm() == pytest.approx(reference.length, rel=1e-9)
    assert np.abs((ring.points_mm - offset * unit) @ unit).max() < 1e-10


def test_a_plane_through_any_vertex_still_gives_one_closed_round() -> None:
    for vertex in BALL.vertices[::7]:
        for normal in ([0, 0, 1], [1, 0, 0], [0.3, -0.5, 0.8]):
            height = vertex @ np.array(normal) / np.linalg.norm(normal)
            if abs(height) > 95:  # a tiny round is a coarse polygon
                continue
            rings = plane_sections(BALL, vertex, normal)
            assert [ring.closed for ring in rings] == [True]
            expected = 2 * np.pi * np.sqrt(100**2 - height**2)
            assert rings[0].length_mm() == pytest.approx(expected, rel=0.02)
            assert_on_its_faces(BALL, rings[0])


def test_a_plane_that_only_touches_gives_nothing() -> None:
    top = BALL.vertices[np.argmax(BALL.vertices[:, 2])]
    assert plane_sections(BALL, top, [0, 0, 1]) == ()
    assert plane_sections(BALL, top, [0, 0, -1]) == ()
    assert plane_sections(BALL, [0, 0, 500], [0, 0, 1]) == ()


def test_a_normal_without_length_is_refused() -> None:
    with pytest.raises(ShapeError, match="no length"):
        plane_sections(BALL, [0, 0, 0], [0, 0, 0])
