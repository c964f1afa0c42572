from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from fitkit.errors import InputError, MeshError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays, nearest_on_mesh
from fitkit.geometry.offset import OffsetField, offset_mesh
from fitkit.geometry.section import plane_sections
from fitkit.geometry.topology import edges, euler_characteristic, is_closed
from tests.truth import solids


def smallest_angles_deg(mesh: TriangleMesh) -> Floats:
    angles = []
    for k in range(3):
        u = mesh.corners[:, (k + 1) % 3] - mesh.corners[:, k]
        v = mesh.corners[:, (k + 2) % 3] - mesh.corners[:, k]
        angles.append(np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), (u * v).sum(axis=1)))
    return np.degrees(np.min(angles, axis=0))


def crossings(mesh: TriangleMesh) -> int:
    """How many edges pass through a face that they do not touch."""
    pairs, _ = edges(mesh)
    start, along = mesh.vertices[pairs[:, 0]], np.diff(mesh.vertices[pairs], axis=1)[:, 0]
    hits = SurfaceRays(mesh).all_hits(start, along)
    touching = (mesh.faces[hits.faces][:, :, None] == pairs[hits.rays][:, None]).any(axis=(1, 2))
    normals = mesh.face_normals_scaled()[hits.faces]
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    ends = mesh.vertices[pairs[hits.rays]] - mesh.corners[hits.faces, :1]
    heights = np.einsum("kei,ki->ke", ends, normals)
    through = (heights.min(axis=1) < -1e-3) & (heights.max(axis=1) > 1e-3)  # not beside it
    return int((~touching & through).sum())


def girth_mm(mesh: TriangleMesh, height_mm: float) -> float:
    ring = plane_sections(mesh, [0, 0, height_mm], [0, 0, 1])[0]
    return float(ConvexHull(ring.points_mm[:, :2]).area)  # in the plane that is the perimeter


@pytest.mark.parametrize("distance", [0.0, 3.0, 20.0, -15.0])
def test_a_sphere_grows_into_a_sphere(distance: float) -> None:
    """Closed form: the offset of a sphere of R is one of R + d; 0.1 mm is what a maker can cut."""
    ball = offset_mesh(solids.sphere(100, 4), distance, cell_mm=5)
    radius = np.linalg.norm(ball.vertices, axis=1)
    assert np.abs(radius - (100 + distance)).max() < 0.1
    assert euler_characteristic(ball) == 2
    assert ball.volume_mm3() == pytest.approx(4 / 3 * np.pi * (100 + distance) ** 3, rel=3e-3)
    assert crossings(ball) == 0


def test_every_vertex_is_at_the_distance_and_triangles_are_well_shaped() -> None:
    """Corners at 20 degrees or more keep later unrolling and geodesics well conditioned."""
    cylinder = solids.cylinder(60, 150, 8)
    grown = offset_mesh(cylinder, 12, cell_mm=4)
    assert is_closed(grown)
    assert np.abs(nearest_on_mesh(cylinder, grown.vertices)[2] - 12).max() < 0.02
    assert smallest_angles_deg(grown).min() > 20
    pairs, _ = edges(grown)
    lengths = np.linalg.norm(np.diff(grown.vertices[pairs], axis=1)[:, 0], axis=1)
    assert lengths.max() < 2 * 4
    assert np.median(lengths) == pytest.approx(4, rel=0.15)


@pytest.mark.parametrize("distance", [5.5, 18.0])
def test_a_convex_girth_grows_by_two_pi_d(distance: float) -> None:
    """Steiner's formula for the parallel curve of a convex one (L + 2 pi d)."""
    # On an ellipsoid cut through its middle the level section's offset lies in the same plane.
    egg = solids.ellipsoid((160, 110, 120), 6)
    grown = offset_mesh(egg, distance, cell_mm=4)
    assert girth_mm(grown, 0.0) - girth_mm(egg, 0.0) == pytest.approx(2 * np.pi * distance, abs=0.3)


def groove(width_mm: float) -> TriangleMesh:
    """Turn a drum of radius 60 with a groove round its middle, 30 deep."""
    half = width_mm / 2
    profile = [(60, -70), (60, -half), (30, -half), (30, half), (60, half), (60, 70)]
    angle = 2 * np.pi * np.arange(90) / 90
    rings = [np.column_stack([r * np.cos(angle), r * np.sin(angle), 0 * angle + z])
             for r, z in profile]  # fmt: skip
    points = np.vstack([*rings, [[0, 0, -70], [0, 0, 70]]])
    now, after = np.arange(90), (np.arange(90) + 1) % 90
    faces = [np.column_stack([540 + 0 * now, after, now])]
    for k in range(5):
        low, high = 90 * k, 90 * (k + 1)
        faces.append(np.column_stack([low + now, low + after, high + after]))
        faces.append(np.column_stack([low + now, high + after, high + now]))
    faces.append(np.column_stack([541 + 0 * now, 450 + now, 450 + after]))
    return TriangleMesh(points, np.vstack(faces))


def test_a_groove_narrower_than_twice_the_distance_closes() -> None:
    """Closed form: two rims of radius 60 at z = +-4 grown by 10 meet at r = 60 + sqrt(100 - 16)."""
    grown = offset_mesh(groove(8), 10, cell_mm=3)
    assert euler_characteristic(grown) == 2
    assert crossings(grown) == 0
    middle = np.linalg.norm(grown.vertices[np.abs(grown.vertices[:, 2]) < 3][:, :2], axis=1)
    assert middle.min() > 60 + np.sqrt(100 - 16) - 0.5
    assert middle.max() < 70.1


def test_a_groove_wider_than_twice_the_distance_stays_open() -> None:
    grown = offset_mesh(groove(40), 10, cell_mm=3)
    radius = np.linalg.norm(
        plane_sections(grown, [0, 0, 0.1], [0, 0, 1])[0].points_mm[:, :2], axis=1
    )
    assert radius == pytest.approx(40, abs=0.1)


def test_the_hole_of_a_torus_closes_into_a_dimple() -> None:
    """Euler characteristic 0 becomes 2; the hollow it leaves inside none is kept."""
    torus = solids.torus(60, 30, 6)
    assert euler_characteristic(offset_mesh(torus, 20, cell_mm=5)) == 0
    closed = offset_mesh(torus, 35, cell_mm=5)
    assert euler_characteristic(closed) == 2
    assert crossings(closed) == 0


def test_an_enclosed_hollow_is_not_part_of_the_form() -> None:
    shell = solids.sphere(80, 8)
    inner = solids.sphere(50, 8)
    hollow = TriangleMesh(
        np.vstack([shell.vertices, inner.vertices]),
        np.vstack([shell.faces, inner.faces[:, ::-1] + len(shell.vertices)]),
    )
    grown = offset_mesh(hollow, 10, cell_mm=6)
    assert np.linalg.norm(grown.vertices, axis=1) == pytest.approx(90, abs=0.5)


def test_the_same_mesh_gives_the_same_form() -> None:
    first, second = (offset_mesh(solids.sphere(50, 6), 7, cell_mm=4) for _ in range(2))
    assert np.array_equal(first.vertices, second.vertices)
    assert np.array_equal(first.faces, second.faces)


def test_what_cannot_be_grown_is_told() -> None:
    ball = solids.sphere(50, 10)
    with pytest.raises(InputError, match="0 mm makes no surface"):
        offset_mesh(ball, 5, cell_mm=0)
    with pytest.raises(InputError, match="grid points"):
        offset_mesh(ball, 5, cell_mm=0.05)
    with pytest.raises(MeshError, match="Nothing is left"):
        offset_mesh(ball, -60, cell_mm=4)
    with pytest.raises(MeshError, match="holes"):
        offset_mesh(solids.spherical_cap(50, 1.0, 8), 5, cell_mm=4)


def furrowed_block(
    half_width_mm: float, radius_mm: float, *, length_mm: float = 120.0
) -> TriangleMesh:
    """Return a block, its top at z = 0, with a furrow of circular section along y."""
    half_angle = np.arcsin(half_width_mm / radius_mm)
    turn = np.linspace(-half_angle, half_angle, 33)
    furrow = np.column_stack([radius_mm * np.sin(turn),
                              radius_mm * (np.cos(half_angle) - np.cos(turn))])  # fmt: skip
    top = np.vstack([[-80.0, 0.0], furrow, [80.0, 0.0]])
    low = np.column_stack([top[:, 0], np.full(len(top), -60.0)])
    section = np.vstack([top, low])
    count, n = len(section), len(top)
    ends = [np.column_stack([section[:, 0], np.full(count, y), section[:, 1]])
            for y in (-length_mm / 2, length_mm / 2)]  # fmt: skip
    k = np.arange(n - 1)
    near = np.vstack(
        [np.column_stack([k, n + k, n + k + 1]), np.column_stack([k, n + k + 1, k + 1])]
    )
    around = np.r_[np.arange(n), n + np.arange(n)[::-1]]
    a, b = around, np.roll(around, -1)
    sides = np.vstack(
        [np.column_stack([a, b, count + b]), np.column_stack([a, count + b, count + a])]
    )
    faces = np.vstack([near, near[:, ::-1] + count, sides])
    block = TriangleMesh(np.vstack(ends), faces)
    return block if block.volume_mm3() > 0 else TriangleMesh(block.vertices, faces[:, ::-1])


@pytest.mark.parametrize(("distance", "bridge"), [(0.0, 60.0), (6.0, 60.0), (6.0, 25.0)])
def test_a_furrow_is_bridged_at_the_depth_of_the_ball_on_its_rims(
    distance: float, bridge: float
) -> None:
    """Closed form: a ball d + r from both rims hangs down to sqrt((d + r)^2 - a^2) - r.

    Half the width is a; 0.1 mm is what a maker can cut.
    """
    half = 20.0
    bridged = offset_mesh(furrowed_block(half, 22.0), distance, cell_mm=4, bridge_mm=bridge)
    assert euler_characteristic(bridged) == 2
    assert crossings(bridged) == 0
    middle = (np.abs(bridged.vertices[:, :2]) < [4, 30]).all(axis=1) & (
        bridged.vertices[:, 2] > -40
    )
    points = bridged.vertices[middle]
    sag = np.sqrt((distance + bridge) ** 2 - half**2) - np.sqrt(bridge**2 - points[:, 0] ** 2)
    assert len(points) > 10
    assert points[:, 2] == pytest.approx(sag, abs=0.1)


def test_bridging_leaves_what_the_ball_can_touch() -> None:
    """A furrow wider and rounder than the ball keeps its own offset; so does all that is convex."""
    block = furrowed_block(35.0, 60.0)
    plain, bridged = (offset_mesh(block, 5, cell_mm=5, bridge_mm=r) for r in (0, 30))
    assert nearest_on_mesh(plain, bridged.vertices)[2].max() < 0.15
    ball = offset_mesh(solids.sphere(100, 5), 5, cell_mm=6, bridge_mm=50)
    assert np.linalg.norm(ball.vertices, axis=1) == pytest.approx(105, abs=0.1)


def test_one_field_gives_every_distance_as_if_alone() -> None:
    ball = solids.sphere(60, 6)
    field = OffsetField(ball, cell_mm=5, reach_mm=40)
    for distance, bridge in ((4, 0), (9, 0), (6, 20), (4, 0)):
        alone = offset_mesh(ball, distance, cell_mm=5, bridge_mm=bridge)
        shared = field.surface(distance, bridge_mm=bridge)
        assert np.array_equal(alone.vertices, shared.vertices)
        assert np.array_equal(alone.faces, shared.faces)
    with pytest.raises(InputError, match="reaches 40 mm"):
        field.surface(41)
