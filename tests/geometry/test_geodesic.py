"""Shortest lines against lines known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.geodesic import GeodesicSolver, join_paths, shortest_path
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.surface_cut import insert_paths
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import edges
from tests.truth.solids import cylinder, plane_rectangle, sphere


def on(mesh: TriangleMesh, points: Floats) -> list[SurfacePoint]:
    places, faces, _ = nearest_on_mesh(mesh, np.atleast_2d(points))
    return [SurfacePoint(p, f) for p, f in zip(places, faces, strict=True)]


def assert_lies_on(mesh: TriangleMesh, path: SurfacePath) -> None:
    """Both ends of each segment lie in its face, to rounding."""
    ends = np.roll(path.points_mm, -1, axis=0)[: len(path.faces)]
    for point in (path.points_mm[: len(path.faces)], ends):
        a, b, c = np.moveaxis(mesh.corners[path.faces], 1, 0)
        normal = np.cross(b - a, c - a)
        area = np.linalg.norm(normal, axis=1)
        assert np.abs(np.einsum("ni,ni->n", point - a, normal) / area).max() < 1e-6
        for start, end in ((a, b), (b, c), (c, a)):
            turn = np.einsum("ni,ni->n", np.cross(end - start, point - start), normal)
            assert (turn / area / np.linalg.norm(end - start, axis=1)).min() > -1e-6


def test_line_on_a_sphere_is_a_great_circle() -> None:
    """Length R * angle; chords shorten it by (edge / R)^2 / 24 to / 8, here at most 1.2e-4."""
    radius = 300.0
    mesh = sphere(radius, 7.0)
    # Ends 35 to 130 degrees apart: towards opposite ends a line may swing far at no cost.
    generator = np.random.default_rng(5)
    first = np.linalg.qr(generator.normal(size=(4, 3, 3)))[0]
    angle = np.array([0.6, 1.1, 1.7, 2.3])[:, None]
    second = np.cos(angle) * first[:, :, 0] + np.sin(angle) * first[:, :, 1]
    points = on(mesh, radius * np.vstack([first[:, :, 0], second]))
    solver = GeodesicSolver(mesh, points)
    for i in range(4):
        path = solver.path(i, i + 4)
        start, end = points[i].point_mm, points[i + 4].point_mm
        cosine = start @ end / np.linalg.norm(start) / np.linalg.norm(end)
        assert path.length_mm() == pytest.approx(radius * np.arccos(cosine), rel=1.2e-4)
        plane = np.cross(start, end) / np.linalg.norm(np.cross(start, end))
        # Sideways a length hardly feels it: to first order a detour of 1 mm costs 0.01 mm.
        assert np.abs(path.points_mm @ plane).max() < 1.0
        assert_lies_on(mesh, path)


def test_line_on_a_cylinder_is_a_helix() -> None:
    """Unrolled, the wall is flat: length sqrt(arc^2 + rise^2), arc along the polygon, exact."""
    mesh = cylinder(100.0, 500.0, 20.0, capped=False)
    sides = int((mesh.vertices[:, 2] == 0).sum())
    side = 2 * 100.0 * np.sin(np.pi / sides)
    start, end = on(mesh, np.array([mesh.vertices[0] + [0, 0, 33.0], mesh.vertices[7]]))
    end = on(mesh, mesh.vertices[7] + np.array([0, 0, 411.0]))[0]
    path = shortest_path(mesh, start, end)
    assert path.length_mm() == pytest.approx(np.hypot(7 * side, 411.0 - 33.0), rel=1e-9)
    # A helix rises evenly with the arc.
    turn = np.unwrap(np.arctan2(path.points_mm[:, 1], path.points_mm[:, 0]))
    at_rulings = np.abs(np.linalg.norm(path.points_mm[:, :2], axis=1) - 100.0) < 1e-9
    rise = np.polyfit(turn[at_rulings], path.points_mm[at_rulings, 2], 1)
    assert np.abs(np.polyval(rise, turn[at_rulings]) - path.points_mm[at_rulings, 2]).max() < 1e-6
    assert_lies_on(mesh, path)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ((10.3, 0, 11.7), (88.1, 0, 47.9)),  # inside faces
        ((0, 0, 0), (100, 0, 60)),  # vertices
        ((5.0, 0, 0), (5.0, 0, 60)),  # on edges
        ((11.0, 0, 12.0), (11.5, 0, 12.25)),  # in one face
        ((11.0, 0, 12.0), (11.0 + 2e-6, 0, 51.0)),  # ending a hair from an edge
    ],
)
def test_line_on_a_plane_is_straight(
    start: tuple[float, float, float], end: tuple[float, float, float]
) -> None:
    mesh = plane_rectangle(100, 60, 10)
    first, last = on(mesh, np.array([start, end]))
    path = shortest_path(mesh, first, last)
    assert path.length_mm() == pytest.approx(np.linalg.norm(np.subtract(end, start)), abs=2e-5)
    assert path.points_mm[[0, -1]] == pytest.approx(np.array([start, end]), abs=1e-5)
    assert_lies_on(mesh, path)


def test_line_turns_with_the_surface() -> None:
    """Rigid motion: the moved surface has the moved line."""
    mesh = sphere(100, 15)
    points = on(mesh, np.array([[80, 50, 30], [-60, 70, 20.0]]))
    angle = 0.7
    turn = np.array(
        [[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]]
    )
    moved = TriangleMesh(mesh.vertices @ turn.T + [5, -9, 30], mesh.faces)
    moved_points = [SurfacePoint(turn @ p.point_mm + [5, -9, 30], p.face) for p in points]
    path = shortest_path(mesh, *points)
    moved_path = shortest_path(moved, *moved_points)
    assert moved_path.points_mm == pytest.approx(path.points_mm @ turn.T + [5, -9, 30], abs=1e-6)


def test_legs_join_into_a_closed_line() -> None:
    mesh = sphere(100, 15)
    points = on(mesh, 100 * np.array([[1, 0.1, 0], [0, 1, 0.1], [0.1, 0, 1]]))
    solver = GeodesicSolver(mesh, points)
    legs = [solver.path(i, (i + 1) % 3) for i in range(3)]
    path = join_paths(legs, closed=True)
    assert path.closed
    assert path.length_mm() == pytest.approx(sum(leg.length_mm() for leg in legs), rel=1e-12)
    cut = insert_paths(mesh, [path])
    assert cut.chains[0][0] == cut.chains[0][-1]


def test_ends_on_separate_pieces_are_refused() -> None:
    ball = sphere(20, 10)
    two = TriangleMesh(
        np.vstack([ball.vertices, ball.vertices + np.array([100, 0, 0])]),
        np.vstack([ball.faces, ball.faces + len(ball.vertices)]),
    )
    points = on(two, np.array([[20, 0, 0], [120.0, 0, 0]]))
    with pytest.raises(MeshError, match="separate pieces"):
        shortest_path(two, *points)
    with pytest.raises(MeshError, match="are one"):
        shortest_path(two, points[0], points[0])


def test_surface_with_a_fin_is_refused() -> None:
    """An edge with three faces is no surface."""
    vertices = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, -10, 0], [0, 0, 10.0]])
    mesh = TriangleMesh(vertices, np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]]))
    with pytest.raises(MeshError, match="No shortest line"):
        shortest_path(mesh, SurfacePoint(vertices[2], 0), SurfacePoint(vertices[3], 1))


def bumpy_sheet(seed: int) -> TriangleMesh:
    """Return a sheet of 240 mm with steep hills and hollows of some 20 mm radius."""
    rng = np.random.default_rng(seed)
    flat = plane_rectangle(240.0, 240.0, 10.0)
    x, z = flat.vertices[:, 0], flat.vertices[:, 2]
    height = np.zeros(len(x))
    for _ in range(16):
        (a, b), up, wide = rng.uniform(15, 225, 2), rng.uniform(-30, 45), rng.uniform(12, 26)
        height += up * np.exp(-((x - a) ** 2 + (z - b) ** 2) / (2 * wide**2))
    return flat.with_vertices(np.column_stack([x, height, z]))


def walks_through_edge_points(mesh: TriangleMesh, start: int, *, per_edge: int = 6) -> Floats:
    """(V,) float mm: shortest walks from one vertex over points spread along all edges.

    Such walks are a little longer than the shortest lines, whichever side of a hill is shorter.
    """
    pairs, _ = edges(mesh)
    shares = (np.arange(per_edge) + 1) / (per_edge + 1)
    ends = mesh.vertices[pairs]
    between = [(1 - share) * ends[:, 0] + share * ends[:, 1] for share in shares]
    points = np.vstack([mesh.vertices, *between])
    number = {tuple(pair): i for i, pair in enumerate(pairs.tolist())}
    steps: dict[tuple[int, int], float] = {}
    for face in mesh.faces.tolist():
        nodes = list(face)
        for k in range(3):
            edge = number[tuple(sorted((face[k], face[(k + 1) % 3])))]
            nodes += [len(mesh.vertices) + j * len(pairs) + edge for j in range(per_edge)]
        for i, one in enumerate(nodes):
            for other in nodes[i + 1 :]:
                steps[min(one, other), max(one, other)] = 0.0
    table = np.array(list(steps))
    lengths = np.linalg.norm(points[table[:, 0]] - points[table[:, 1]], axis=1)
    graph = coo_array((lengths, (table[:, 0], table[:, 1])), shape=(len(points),) * 2).tocsr()
    walked: Floats = dijkstra(graph, directed=False, indices=start)
    return walked[: len(mesh.vertices)]


@pytest.mark.parametrize("seed", [6, 7])
def test_over_hills_the_shorter_side_is_taken(seed: int) -> None:
    """Held against walks through points on all edges, 1 % of slack for these being longer.

    Straightened from the shortest walk along edges alone, one line of each dozen here comes out
    3 to 7 % longer, on the wrong side of a hill.
    """
    mesh = bumpy_sheet(seed)
    rng = np.random.default_rng(seed)
    start, *others = rng.choice(len(mesh.vertices), 13, replace=False).tolist()
    walked = walks_through_edge_points(mesh, start)
    first = {int(v): face for face, row in enumerate(mesh.faces.tolist()) for v in row}
    for end in others:
        points = [SurfacePoint(mesh.vertices[v], first[v]) for v in (start, end)]
        length = shortest_path(mesh, *points).length_mm()
        assert 0.98 * walked[end] < length < walked[end] + 1e-6
