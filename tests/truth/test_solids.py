"""The test solids themselves, held against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids


def euler(mesh: TriangleMesh) -> int:
    f = np.sort(mesh.faces, axis=1)
    edges = np.unique(np.concatenate([f[:, :2], f[:, 1:], f[:, ::2]]), axis=0)
    return len(mesh.vertices) - len(edges) + len(f)


def smallest_angle_rad(mesh: TriangleMesh) -> float:
    c = mesh.corners
    angles = []
    for k in range(3):
        u, v = c[:, (k + 1) % 3] - c[:, k], c[:, (k + 2) % 3] - c[:, k]
        angles.append(np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), (u * v).sum(axis=1)))
    return float(np.min(angles))


@pytest.mark.parametrize(
    ("mesh", "area", "volume", "characteristic"),
    [
        (solids.sphere(100, 8), 4 * np.pi * 1e4, 4 / 3 * np.pi * 1e6, 2),
        (solids.ellipsoid((100, 100, 100), 8), 4 * np.pi * 1e4, 4 / 3 * np.pi * 1e6, 2),
        (solids.cylinder(50, 200, 5), 2 * np.pi * 50 * 250, np.pi * 2500 * 200, 2),
        # frustum 60/40/150: lateral area 47540.9235 mm2 (slant 151.327460)
        (solids.frustum(60, 40, 150, 5), 47540.9235 + np.pi * 5200, np.pi * 50 * 7600, 2),
        # cone r 30, h 40: slant 50, lateral area 4712.389 mm2
        (solids.cone(30, 40, 3), 4712.389 + np.pi * 900, np.pi * 12000, 2),
        (solids.torus(100, 30, 5), 4 * np.pi**2 * 3000, 2 * np.pi**2 * 100 * 900, 0),
    ],
)
def test_closed_solid_has_its_area_and_volume_from_inside(
    mesh: TriangleMesh, area: float, volume: float, characteristic: int
) -> None:
    """Vertices on the surface put a convex mesh inside its solid, short by order h^2 (< 0.8 %)."""
    assert solids.border_rounds(mesh) == ()
    assert euler(mesh) == characteristic
    assert 0.992 * area < mesh.area_mm2() < area * (1 + 1e-9)
    assert 0.992 * volume < mesh.volume_mm3() < volume * (1 + 1e-9)


def test_cap_has_the_area_of_its_zone() -> None:
    """A spherical zone of height h has the area 2 pi R h (Archimedes)."""
    mesh = solids.spherical_cap(100, np.pi / 6, 5)
    expected = 2 * np.pi * 100 * 100 * (1 - np.cos(np.pi / 6))
    assert mesh.area_mm2() == pytest.approx(expected, rel=2e-3)
    assert (mesh.face_normals_scaled()[:, 2] > 0).all()
    assert len(solids.border_rounds(mesh)) == 1


@pytest.mark.parametrize(
    "mesh",
    [
        solids.sphere(100, 8),
        solids.spherical_cap(100, np.pi / 3, 5),
        solids.cylinder(50, 100, 5),
        solids.torus(100, 30, 5),
        solids.saddle(60, 0.01, 4),
    ],
)
def test_triangles_are_well_shaped(mesh: TriangleMesh) -> None:
    assert smallest_angle_rad(mesh) > np.radians(15)


def test_open_panels_face_outward_and_border_keeps_them_on_the_left() -> None:
    panel = solids.cylinder_panel(100, 1.0, 80, 5)
    assert (panel.face_normals_scaled()[:, 1] < 0).all()
    loop = panel.vertices[solids.border_rounds(panel)[0]]
    # Seen from the front the wearer's left (+x) is on the right: counter-clockwise in (x, z).
    x, z = loop[:, 0], loop[:, 2]
    assert np.sum(x * np.roll(z, -1) - z * np.roll(x, -1)) > 0


def test_patch_edges_join_end_to_end_and_know_their_neighbours() -> None:
    panel = solids.plane_rectangle(100, 60, 10)
    patch = solids.patch_of(
        panel,
        lines=lambda p: (
            "bottom" if p[2] == 0 else "top" if p[2] == 60 else "left" if p[0] > 50 else "right"
        ),
    )
    (loop,) = patch.loops
    assert [edge.line for edge in loop].count("top") == 1
    assert len(loop) == 4
    for edge, after in zip(loop, loop[1:] + loop[:1], strict=True):
        assert edge.vertices[-1] == after.vertices[0]
        assert edge.neighbours[-1] == (len(edge.vertices) - 1, after.line)


def test_sleeve_patch_has_two_loops_repeating_their_first_vertex() -> None:
    patch = solids.patch_of(solids.frustum(60, 40, 150, 10, capped=False), lines=("hem", "cuff"))
    assert [loop[0].line for loop in patch.loops] == ["hem", "cuff"]
    for (edge,) in patch.loops:
        assert edge.vertices[0] == edge.vertices[-1]
