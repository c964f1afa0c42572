"""Lines made into edges, and meshes opened along them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_cut import CutMesh, cut_along, edge_keys, insert_paths
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.topology import boundary_loops, components, euler_characteristic, is_closed
from tests.truth.solids import cylinder, plane_rectangle, sphere, torus

BALL = sphere(100, 25)
SOLIDS = {
    "sphere": BALL,
    "torus": torus(100, 30, 25),
    "cylinder": cylinder(50, 200, 25),
    "fine sphere": sphere(100, 8),
}


def assert_same_surface(mesh: TriangleMesh, cut: CutMesh, paths: list[SurfacePath]) -> None:
    """Area to 1e-9, shape of the whole, orientation, and every line along edges."""
    assert cut.mesh.area_mm2() == pytest.approx(mesh.area_mm2(), rel=1e-9)
    parts = np.bincount(
        cut.source_face, weights=cut.mesh.face_areas_mm2(), minlength=len(mesh.faces)
    )
    assert parts == pytest.approx(mesh.face_areas_mm2(), rel=1e-9)
    # Closed means every edge has two faces: no vertex sits in the middle of another's edge.
    assert is_closed(cut.mesh) == is_closed(mesh)
    assert euler_characteristic(cut.mesh) == euler_characteristic(mesh)
    normals = mesh.face_normals_scaled()[cut.source_face]
    assert (np.einsum("fi,fi->f", normals, cut.mesh.face_normals_scaled()) > 0).all()
    edges = {tuple(sorted(e)) for f in cut.mesh.faces.tolist() for e in zip(f, f[1:] + f[:1])}  # noqa: B905 - rounds
    for path, chain in zip(paths, cut.chains, strict=True):
        steps = [tuple(sorted(step)) for step in zip(chain[:-1].tolist(), chain[1:].tolist())]  # noqa: B905
        assert set(steps) <= edges
        assert (chain[0] == chain[-1]) == path.closed
        length = np.linalg.norm(np.diff(cut.mesh.vertices[chain], axis=0), axis=1).sum()
        assert length == pytest.approx(path.length_mm(), abs=0.02)


def sections(mesh: TriangleMesh, seed: int, count: int) -> list[SurfacePath]:
    generator = np.random.default_rng(seed)
    middle = mesh.bounds_mm().mean(axis=0)
    return [
        path
        for _ in range(count)
        for path in plane_sections(
            mesh, middle + 15 * generator.normal(size=3), generator.normal(size=3)
        )
    ]


@pytest.mark.parametrize("name", SOLIDS)
@pytest.mark.parametrize("seed", range(3))
def test_crossing_rounds_leave_the_surface_as_it_is(name: str, seed: int) -> None:
    mesh = SOLIDS[name]
    paths = sections(mesh, seed, 12)
    assert_same_surface(mesh, insert_paths(mesh, paths), paths)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 25))
def test_any_number_of_rounds_leaves_the_surface_as_it_is(seed: int, count: int) -> None:
    paths = sections(BALL, seed, count)
    assert_same_surface(BALL, insert_paths(BALL, paths), paths)


def test_rounds_through_vertices_and_along_edges_are_inserted() -> None:
    """Planes through an icosahedral sphere's vertices and mirror planes, and hair-near ones."""
    middle_planes = [plane_sections(BALL, np.zeros(3), normal) for normal in np.eye(3)]
    at_vertices = [plane_sections(BALL, BALL.vertices[i], np.array([0, 0, 1.0])) for i in (3, 40)]
    near = [
        plane_sections(BALL, BALL.vertices[i] + np.array([0, 0, 4e-4]), np.array([0, 1e-6, 1.0]))
        for i in (3, 40)
    ]
    paths = [path for group in middle_planes + at_vertices + near for path in group]
    assert_same_surface(BALL, insert_paths(BALL, paths), paths)


def test_lines_that_are_one_share_their_vertices() -> None:
    path = sections(BALL, 5, 1)[0]
    part = SurfacePath(path.points_mm[3:12], path.faces[3:11])
    back = SurfacePath(part.points_mm[::-1], part.faces[::-1])
    cut = insert_paths(BALL, [path, path, part, back])
    alone = insert_paths(BALL, [path])
    assert len(cut.mesh.vertices) == len(alone.mesh.vertices)
    assert cut.chains[0].tolist() == cut.chains[1].tolist()
    assert set(cut.chains[2].tolist()) < set(cut.chains[0].tolist())
    assert cut.chains[3].tolist() == cut.chains[2].tolist()[::-1]


def test_lines_that_cross_share_the_crossing() -> None:
    """Two diagonals of a rectangle meet in its middle, inside one triangle or on its edge."""
    mesh = plane_rectangle(90, 60, 100)
    a, b, c, d = mesh.vertices
    lines = [straight(mesh, a + np.array([7, 0, 0]), d - np.array([3, 0, 0])), straight(mesh, b, c)]
    cut = insert_paths(mesh, lines)
    (crossing,) = set(cut.chains[0].tolist()) & set(cut.chains[1].tolist())
    start, end = lines[0].points_mm[[0, -1]]
    along = np.linalg.solve(
        np.column_stack([(end - start)[[0, 2]], (b - c)[[0, 2]]]), (b - start)[[0, 2]]
    )[0]
    assert cut.mesh.vertices[crossing] == pytest.approx(start + along * (end - start), abs=1e-9)
    assert_same_surface(mesh, cut, lines)


def straight(mesh: TriangleMesh, start: Floats, end: Floats) -> SurfacePath:
    """Return a straight line on the plane y = 0."""
    way = end - start
    (path,) = plane_sections(mesh, start, np.array([-way[2], 0, way[0]]))
    points = path.points_mm
    along = (points - start) @ way / (way @ way)
    if along[0] > along[-1]:
        points, along = points[::-1], along[::-1]
        faces = path.faces[::-1]
    else:
        faces = path.faces
    inside = (along[1:] > 1e-9) & (along[:-1] < 1 - 1e-9)
    chosen = np.flatnonzero(inside)
    points = points[chosen[0] : chosen[-1] + 2].copy()
    points[0], points[-1] = start, end
    return SurfacePath(points, faces[chosen])


def test_a_face_takes_many_lines_and_loose_ends() -> None:
    """A star of tails inside one triangle: each is an edge, none reaches the border."""
    mesh = plane_rectangle(100, 100, 200)
    generator = np.random.default_rng(3)
    corners = mesh.corners[0]
    lines = []
    for _ in range(25):
        ends = generator.dirichlet([3, 3, 3], 2) @ corners
        lines.append(SurfacePath(ends, np.array([0])))
    cut = insert_paths(mesh, lines)
    assert_same_surface(mesh, cut, lines)


def test_needle_triangles_are_cut_cleanly() -> None:
    """Faces far thinner than the snapping distance still give a valid mesh."""
    width = 1e-4
    x = np.repeat([0.0, 50.0, 50.0 + width, 100.0], 2)
    z = np.tile([0.0, 40.0], 4)
    vertices = np.column_stack([x, np.zeros(8), z])
    faces = np.array([[0, 2, 3], [0, 3, 1], [2, 4, 5], [2, 5, 3], [4, 6, 7], [4, 7, 5]])
    mesh = TriangleMesh(vertices, faces)
    generator = np.random.default_rng(7)
    lines = []
    for _ in range(12):
        low, high = generator.uniform(5, 35, 2)
        lines += plane_sections(
            mesh, np.array([0, 0, low]), np.cross([100, 0, high - low], [0, 1.0, 0])
        )
    lines += plane_sections(mesh, np.array([50 + width / 2, 0, 0]), np.array([1.0, 0, 1e-7]))
    assert_same_surface(mesh, insert_paths(mesh, lines), lines)


def test_line_from_another_mesh_is_refused() -> None:
    line = SurfacePath(np.array([[0, 0, 0], [1, 0, 0.0]]), np.array([0]))
    with pytest.raises(MeshError, match="off triangle 0"):
        insert_paths(BALL, [line])
    path = sections(BALL, 1, 1)[0]
    with pytest.raises(MeshError, match="jumps from triangle"):
        insert_paths(BALL, [SurfacePath(path.points_mm, np.roll(path.faces, 5), closed=True)])
    with pytest.raises(MeshError, match="names triangle"):
        insert_paths(BALL, [SurfacePath(line.points_mm, np.array([99999]))])


def test_great_circles_cut_a_sphere_into_octants() -> None:
    """Area of an octant: pi R^2 / 2 (closed form), by symmetry one eighth of the mesh's area."""
    mesh = sphere(100, 5)
    turn = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0]
    paths = [plane_sections(mesh, np.zeros(3), normal)[0] for normal in turn]
    cut = insert_paths(mesh, paths)
    octants = pieces(cut)
    areas = np.bincount(octants, weights=cut.mesh.face_areas_mm2())
    assert len(areas) == 8
    assert areas == pytest.approx(np.pi * 100**2 / 2, rel=1.5e-3)


def pieces(cut: CutMesh) -> Ints:
    """Return the number of the piece of each face when all lines are cut."""
    barrier = {
        tuple(sorted(step))
        for chain in cut.chains
        for step in zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True)
    }
    owner: dict[tuple[int, int], int] = {}
    links = []
    for number, face in enumerate(cut.mesh.faces.tolist()):
        for a, b in zip(face, face[1:] + face[:1], strict=True):
            edge = (min(a, b), max(a, b))
            if edge in owner and edge not in barrier:
                links.append((owner[edge], number))
            owner[edge] = number
    rows, columns = np.array(links).T
    count = len(cut.mesh.faces)
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(count, count))
    labels: Ints = connected_components(graph, directed=False)[1]
    return labels


def test_cut_from_rim_to_rim_opens_a_sleeve() -> None:
    sleeve = cylinder(50, 100, 10, capped=False)
    (path,) = (
        p
        for p in plane_sections(sleeve, np.zeros(3), np.array([1.0, 0.2, 0]))
        if p.points_mm[0, 1] > 0
    )
    inserted = insert_paths(sleeve, [path])
    opened, source = cut_along(inserted.mesh, inserted.chains[0])
    assert euler_characteristic(sleeve) == 0
    assert euler_characteristic(opened) == 1
    assert len(boundary_loops(opened)) == 1
    assert len(opened.vertices) == len(inserted.mesh.vertices) + len(inserted.chains[0])
    assert opened.vertices == pytest.approx(inserted.mesh.vertices[source], abs=0)
    assert source[: len(inserted.mesh.vertices)].tolist() == list(
        range(len(inserted.mesh.vertices))
    )


def test_cut_round_parts_a_ball_in_two() -> None:
    path = sections(BALL, 8, 1)[0]
    inserted = insert_paths(BALL, [path])
    opened, _ = cut_along(inserted.mesh, inserted.chains[0])
    assert len(np.unique(components(opened))) == 2
    assert len(opened.vertices) == len(inserted.mesh.vertices) + len(path.points_mm)


def test_slit_inside_keeps_its_ends_single() -> None:
    path = sections(BALL, 8, 1)[0]
    inserted = insert_paths(BALL, [SurfacePath(path.points_mm[:8], path.faces[:7])])
    opened, source = cut_along(inserted.mesh, inserted.chains[0])
    doubled = source[len(inserted.mesh.vertices) :]
    assert sorted(doubled.tolist()) == sorted(inserted.chains[0][1:-1].tolist())
    assert len(boundary_loops(opened)[0]) == 2 * (len(inserted.chains[0]) - 1)


def test_cut_off_the_edges_is_refused() -> None:
    far = int(np.argmax(np.linalg.norm(BALL.vertices - BALL.vertices[0], axis=1)))
    with pytest.raises(MeshError, match="leaves the edges"):
        cut_along(BALL, np.array([0, far]))


def test_edge_numbers_are_shared_by_both_faces() -> None:
    _, count = np.unique(edge_keys(BALL), return_counts=True)
    assert (count == 2).all()
