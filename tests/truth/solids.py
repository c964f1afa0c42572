"""Solids and open surfaces whose areas, girths and developments are known in closed form.

All are :class:`~fitkit.geometry.mesh.TriangleMesh`, wound outward, their axis along z, in
millimetres. Vertices lie exactly on the true surface, so a mesh is inside its solid by the
sagitta of an edge: area and volume are short by the order of ``(edge / radius) ** 2``.
Cylinders, frustums and cones are *ruling-aligned*: their long edges are rulings, so that
they unroll without any stretch, as prisms and pyramids do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.spatial import Delaunay

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import PatchDesign, PointAnchor
from fitkit.patch.patch import InnerLine, Patch, PatchEdge

__all__ = [
    "border_rounds",
    "cone",
    "cylinder",
    "cylinder_panel",
    "ellipsoid",
    "frustum",
    "patch_of",
    "plane_rectangle",
    "saddle",
    "sphere",
    "spherical_cap",
    "torus",
]


def sphere(radius_mm: float, edge_mm: float) -> TriangleMesh:
    """Make a closed sphere: the icosahedron's faces divided evenly and pushed out to the sphere."""
    golden = (1.0 + 5.0**0.5) / 2.0
    corners = np.array(
        [[0.0, s * 1.0, t * golden] for s in (-1, 1) for t in (-1, 1)]
        + [[s * 1.0, t * golden, 0.0] for s in (-1, 1) for t in (-1, 1)]
        + [[t * golden, 0.0, s * 1.0] for s in (-1, 1) for t in (-1, 1)]
    )
    gap = np.linalg.norm(corners[:, None] - corners[None], axis=2)
    near = np.isclose(gap, 2.0)
    triangles = [
        (a, b, c)
        for a in range(12)
        for b in range(a + 1, 12)
        for c in range(b + 1, 12)
        if near[a, b] and near[b, c] and near[a, c]
    ]
    unit_edge = 2.0 / np.linalg.norm(corners[0])
    n = max(1, round(radius_mm * unit_edge / edge_mm))
    points: list[Floats] = []
    faces: list[tuple[int, int, int]] = []
    for triangle in triangles:
        a, b, c = corners[list(triangle)]
        if np.dot(np.cross(b - a, c - a), a + b + c) < 0:
            b, c = c, b
        first = len(points)
        number = {}
        for i in range(n + 1):
            for j in range(n + 1 - i):
                number[i, j] = first + len(number)
                points.append(a + (b - a) * (i / n) + (c - a) * (j / n))
        for i in range(n):
            for j in range(n - i):
                faces.append((number[i, j], number[i + 1, j], number[i, j + 1]))
                if i + j < n - 1:
                    faces.append((number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]))
    cloud = np.array(points)
    cloud *= radius_mm / np.linalg.norm(cloud, axis=1, keepdims=True)
    return _welded(cloud, np.array(faces), 1e-6 * radius_mm)


def ellipsoid(semi_axes_mm: tuple[float, float, float], edge_mm: float) -> TriangleMesh:
    """Make a closed ellipsoid, half as wide as ``semi_axes_mm`` says along x, y and z."""
    ball = sphere(1.0, edge_mm / max(semi_axes_mm))
    return ball.with_vertices(ball.vertices * np.array(semi_axes_mm))


def cylinder(
    radius_mm: float, height_mm: float, edge_mm: float, capped: bool = True
) -> TriangleMesh:
    """Make a round cylinder standing on z = 0; without caps a sleeve with two rims."""
    return frustum(radius_mm, radius_mm, height_mm, edge_mm, capped)


def frustum(
    r_bottom_mm: float, r_top_mm: float, height_mm: float, edge_mm: float, capped: bool = True
) -> TriangleMesh:
    """Make a cone cut off level, standing on z = 0; without caps a sleeve with two rims."""
    around = max(3, round(2.0 * np.pi * max(r_bottom_mm, r_top_mm) / edge_mm))
    slant = float(np.hypot(height_mm, r_bottom_mm - r_top_mm))
    rows = max(1, round(slant / edge_mm))
    up = np.linspace(0.0, 1.0, rows + 1)
    turn = 2.0 * np.pi * np.arange(around) / around
    radius = r_bottom_mm + (r_top_mm - r_bottom_mm) * up
    side = np.stack(
        [
            radius[:, None] * np.cos(turn),
            radius[:, None] * np.sin(turn),
            np.repeat(height_mm * up[:, None], around, axis=1),
        ],
        axis=2,
    ).reshape(-1, 3)
    faces = _wall(rows, around, closed=True)
    if not capped:
        return TriangleMesh(side, faces)
    points, parts = [side], [faces]
    for z, r, first, flip in (
        (0.0, r_bottom_mm, 0, True),
        (height_mm, r_top_mm, rows * around, False),
    ):
        inner, disc = _disc(r, turn, edge_mm)
        start = sum(len(p) for p in points)
        points.append(np.column_stack([inner, np.full(len(inner), z)]))
        number = np.concatenate([first + np.arange(around), start + np.arange(len(inner))])
        parts.append(number[disc[:, ::-1] if flip else disc])
    return TriangleMesh(np.concatenate(points), np.concatenate(parts))


def cone(radius_mm: float, height_mm: float, edge_mm: float, capped: bool = True) -> TriangleMesh:
    """Make a cone standing on z = 0, its apex up; all rulings run up to the apex."""
    body = frustum(radius_mm, 1e-3 * radius_mm, height_mm * (1 - 1e-3), edge_mm, False)
    around = max(3, round(2.0 * np.pi * radius_mm / edge_mm))
    side = body.vertices.copy()
    top = len(side) - around
    apex = len(side) - around
    faces = np.where(body.faces >= top, apex, body.faces)
    keep = np.array([len(set(face)) == 3 for face in faces.tolist()])
    points = np.vstack([side[:top], [[0.0, 0.0, height_mm]]])
    faces = faces[keep]
    if capped:
        turn = 2.0 * np.pi * np.arange(around) / around
        inner, disc = _disc(radius_mm, turn, edge_mm)
        number = np.concatenate([np.arange(around), len(points) + np.arange(len(inner))])
        points = np.vstack([points, np.column_stack([inner, np.zeros(len(inner))])])
        faces = np.vstack([faces, number[disc[:, ::-1]]])
    return TriangleMesh(points, faces)


def torus(ring_radius_mm: float, tube_radius_mm: float, edge_mm: float) -> TriangleMesh:
    """Make a closed torus lying round the z axis."""
    around = max(3, round(2.0 * np.pi * (ring_radius_mm + tube_radius_mm) / edge_mm))
    tube = max(3, round(2.0 * np.pi * tube_radius_mm / edge_mm))
    turn = 2.0 * np.pi * np.arange(around) / around
    roll = 2.0 * np.pi * np.arange(tube) / tube
    radius = ring_radius_mm + tube_radius_mm * np.cos(roll)
    points = np.stack(
        [
            radius[:, None] * np.cos(turn),
            radius[:, None] * np.sin(turn),
            np.repeat(tube_radius_mm * np.sin(roll)[:, None], around, axis=1),
        ],
        axis=2,
    ).reshape(-1, 3)
    wall = _wall(tube, around, closed=True) % (tube * around)
    return TriangleMesh(points, wall)


def spherical_cap(radius_mm: float, half_angle_rad: float, edge_mm: float) -> TriangleMesh:
    """Make an open cap about the north pole of a sphere round the origin; its rim is level."""
    rings = max(1, round(radius_mm * half_angle_rad / edge_mm))
    points = [np.zeros((1, 2))]
    for k in range(1, rings + 1):
        polar = half_angle_rad * k / rings
        n = max(5, round(2.0 * np.pi * radius_mm * np.sin(polar) / edge_mm))
        turn = 2.0 * np.pi * (np.arange(n) + 0.5 * (k % 2)) / n
        points.append(polar * np.column_stack([np.cos(turn), np.sin(turn)]))
    polar_xy = np.concatenate(points)
    polar = np.linalg.norm(polar_xy, axis=1)
    direction = polar_xy / np.where(polar > 0, polar, 1.0)[:, None]
    # Delaunay on the stereographic plane is Delaunay on the sphere.
    faces = _delaunay(2.0 * np.tan(polar / 2.0)[:, None] * direction)
    cloud = radius_mm * np.column_stack([np.sin(polar)[:, None] * direction, np.cos(polar)])
    return TriangleMesh(cloud, faces)


def saddle(radius_mm: float, curvature_per_mm: float, edge_mm: float) -> TriangleMesh:
    """Make a disc of ``z = c (x^2 - y^2) / 2``, negatively curved throughout."""
    n = max(6, round(2.0 * np.pi * radius_mm / edge_mm))
    turn = 2.0 * np.pi * np.arange(n) / n
    inner, faces = _disc(radius_mm, turn, edge_mm)
    rim = radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    xy = np.concatenate([rim, inner])
    z = curvature_per_mm * (xy[:, 0] ** 2 - xy[:, 1] ** 2) / 2.0
    return TriangleMesh(np.column_stack([xy, z]), faces)


def cylinder_panel(
    radius_mm: float, angle_rad: float, height_mm: float, edge_mm: float
) -> TriangleMesh:
    """Make an open panel of a cylinder, standing on z = 0, its middle at the front (-y)."""
    columns = max(1, round(radius_mm * angle_rad / edge_mm))
    rows = max(1, round(height_mm / edge_mm))
    turn = -np.pi / 2.0 + np.linspace(-0.5, 0.5, columns + 1) * angle_rad
    z = np.linspace(0.0, height_mm, rows + 1)
    points = np.stack(
        [
            np.tile(radius_mm * np.cos(turn), (rows + 1, 1)),
            np.tile(radius_mm * np.sin(turn), (rows + 1, 1)),
            np.repeat(z[:, None], columns + 1, axis=1),
        ],
        axis=2,
    ).reshape(-1, 3)
    return TriangleMesh(points, _wall(rows, columns + 1, closed=False))


def plane_rectangle(width_mm: float, height_mm: float, edge_mm: float) -> TriangleMesh:
    """Make a flat rectangle in the plane y = 0 facing the front (-y), lower left at the origin."""
    columns, rows = (max(1, round(length / edge_mm)) for length in (width_mm, height_mm))
    x, z = np.meshgrid(np.linspace(0, width_mm, columns + 1), np.linspace(0, height_mm, rows + 1))
    points = np.column_stack([x.ravel(), np.zeros(x.size), z.ravel()])
    return TriangleMesh(points, _wall(rows, columns + 1, closed=False))


def border_rounds(mesh: TriangleMesh) -> tuple[Ints, ...]:
    """Border loops as vertex rounds, the mesh on the left seen from outside, longest first."""
    f = mesh.faces
    half = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    there = {(a, b) for a, b in half.tolist()}
    after = {a: b for a, b in there if (b, a) not in there}
    rounds = []
    while after:
        start = min(after)
        loop = [start]
        while (step := after.pop(loop[-1])) != start:
            loop.append(step)
        rounds.append(np.array(loop))

    def length(loop: Ints) -> float:
        points = mesh.vertices[loop]
        return float(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).sum())

    return tuple(sorted(rounds, key=lambda loop: -length(loop)))


def patch_of(
    mesh: TriangleMesh,
    *,
    name: str = "test plate",
    lines: Callable[[Floats], str] | Sequence[str] | None = None,
    inner: Mapping[str, Sequence[int] | Ints] | None = None,
    neighbours: Callable[[int], str | None] | None = None,
    **design: Any,
) -> Patch:
    """Return an open mesh as a patch without cutting it from a form.

    Parameters
    ----------
    lines
        Names of the border's lines: one a loop, longest loop first; or a function from the middle
        of a border edge, (3,) mm, to the name of the line it lies on. None names them
        ``"rim 1"``, ``"rim 2"`` and so on.
    inner
        Vertex chains of lines across the inside, by name.
    neighbours
        For a border vertex the line that meets it from elsewhere, if any. Where two named edges
        meet, each already is the other's neighbour.
    design
        Any further field of :class:`fitkit.patch.design.PatchDesign`.
    """
    loops = []
    for k, loop in enumerate(border_rounds(mesh)):
        middles = 0.5 * (mesh.vertices[loop] + mesh.vertices[np.roll(loop, -1)])
        if callable(lines):
            names = [lines(middle) for middle in middles]
        else:
            names = [lines[k] if lines is not None else f"rim {k + 1}"] * len(loop)
        starts = [i for i in range(len(loop)) if names[i] != names[i - 1]]
        edges = []
        for s, start in enumerate(starts or [0]):
            end = starts[(s + 1) % len(starts)] if starts else 0
            count = (end - start) % len(loop) or len(loop)
            chain = np.array([loop[(start + i) % len(loop)] for i in range(count + 1)])
            meets: list[tuple[int, str]] = []
            if starts:
                meets = [(0, names[start - 1]), (count, names[(start + count) % len(loop)])]
            if neighbours is not None:
                meets += [(i, line) for i, v in enumerate(chain) if (line := neighbours(int(v)))]
            edges.append(PatchEdge(names[start], chain, tuple(sorted(meets))))
        loops.append(tuple(edges))
    boundary = tuple(dict.fromkeys(edge.line for loop in loops for edge in loop))
    middle = mesh.corners[len(mesh.faces) // 2].mean(axis=0)
    return Patch(
        PatchDesign(name, boundary, PointAnchor(*map(float, middle)), **design),
        mesh,
        tuple(loops),
        tuple(InnerLine(line, np.asarray(chain)) for line, chain in (inner or {}).items()),
    )


def _wall(rows: int, columns: int, *, closed: bool) -> Ints:
    """Faces of a grid of rows of vertices, outward when columns run counter-clockwise from above.

    ``columns`` vertices a row, ``rows + 1`` rows, each row closed to a ring or open.
    """
    i, j = np.meshgrid(
        np.arange(rows), np.arange(columns if closed else columns - 1), indexing="ij"
    )
    a = i * columns + j
    b = i * columns + (j + 1) % columns
    faces: Ints = np.concatenate(
        [
            np.stack([a, b, b + columns], axis=2).reshape(-1, 3),
            np.stack([a, b + columns, a + columns], axis=2).reshape(-1, 3),
        ]
    )
    return faces


def _disc(radius_mm: float, turn: Floats, edge_mm: float) -> tuple[Floats, Ints]:
    """Inner points (N, 2) of a disc with the given rim, and faces over rim then inner points."""
    rings = max(1, round(radius_mm / edge_mm))
    inner = [np.zeros((1, 2))]
    for k in range(1, rings):
        r = radius_mm * k / rings
        n = max(5, round(len(turn) * k / rings))
        t = 2.0 * np.pi * (np.arange(n) + 0.5 * ((rings - k) % 2)) / n
        inner.append(r * np.column_stack([np.cos(t), np.sin(t)]))
    rim = radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    points = np.concatenate(inner)
    return points, _delaunay(np.concatenate([rim, points]))


def _delaunay(points: Floats) -> Ints:
    faces = Delaunay(points).simplices.astype(np.int64)
    a, b, c = (points[faces[:, k]] for k in range(3))
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    faces[area < 0] = faces[area < 0][:, ::-1]
    return faces


def _welded(points: Floats, faces: Ints, within_mm: float) -> TriangleMesh:
    key = np.round(points / within_mm).astype(np.int64)
    _, first, same = np.unique(key, axis=0, return_index=True, return_inverse=True)
    return TriangleMesh(points[first], same.reshape(-1)[faces])
