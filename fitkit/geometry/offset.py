"""The surface at a set distance from a mesh."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import open3d as o3d
from scipy.sparse import csr_array, diags_array
from skimage.measure import marching_cubes

from fitkit.errors import InputError, MeshError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays, nearest_on_mesh
from fitkit.geometry.topology import components, edges, is_closed, vertex_adjacency

__all__ = ["offset_mesh"]

# Edges of the blocks in which the surface is searched for, in cells, coarse to fine.
_BLOCKS = (16, 4)
_RELAX_ROUNDS = 3
_UNFOLD_ROUNDS = 8
_RELAX_STEP = 0.6
_MOST_NODES = 400_000_000


def offset_mesh(
    mesh: TriangleMesh,
    distance_mm: float,
    *,
    cell_mm: float,
    progress: Callable[[float, str], None] | None = None,
) -> TriangleMesh:
    """Return the closed surface of all points at a distance outside a closed mesh.

    It never crosses itself: a groove narrower than twice the distance closes, an edge
    becomes a fillet. The surface is found on a grid of its signed distance (marching
    cubes), its vertices are evened out along the surface and then put at the exact distance.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    distance_mm
        Positive outward, negative inward; 0 covers the same surface with new triangles.
    cell_mm
        Grid spacing, about the edge length of the result.

    Raises
    ------
    InputError
        When the cell is not positive or so small that the grid would not fit in memory.
    MeshError
        When the mesh is not closed, or nothing is left of it.

    References
    ----------
    T. Lewiner et al., "Efficient implementation of marching cubes' cases with topological
    guarantees", Journal of Graphics Tools 8 (2003), as built into scikit-image.
    """
    if not (np.isfinite(distance_mm) and np.isfinite(cell_mm) and cell_mm > 0):
        raise InputError(
            f"A distance of {distance_mm} mm on cells of {cell_mm} mm makes no surface.",
            "Give a finite distance and a cell larger than 0.",
        )
    if not is_closed(mesh):
        raise MeshError(
            "The mesh has holes or edges with more than two faces.",
            "Close it first: inside and outside must be told apart.",
        )
    tell = progress or (lambda _fraction, _words: None)
    tell(0.0, "searching the surface")
    values, origin = _level_grid(mesh, distance_mm, cell_mm)
    tell(0.5, "building the surface")
    if not (values.min() < 0 < values.max()):
        raise MeshError(
            f"Nothing is left of the mesh at a distance of {distance_mm} mm.",
            "Choose a smaller distance inward.",
        )
    extract: Any = marching_cubes  # has no annotations
    points, faces, _, _ = extract(values, 0.0, spacing=(cell_mm,) * 3)
    rough = TriangleMesh(points.astype(np.float64) + origin, faces.astype(np.int64))
    if rough.volume_mm3() < 0:
        rough = TriangleMesh(rough.vertices, rough.faces[:, ::-1])
    shell = _outer_shells(rough)
    tell(0.7, "evening out")
    even = _evened(shell, mesh, distance_mm)
    tell(1.0, "done")
    return even


def _level_grid(mesh: TriangleMesh, distance_mm: float, cell_mm: float) -> tuple[Floats, Floats]:
    """Return signed distance minus the wanted one on a grid, true near the level only.

    Elsewhere just the sign holds. Signed distance changes by no more than the way gone, so
    a block whose centre is farther from the level than its own corner holds no surface.
    """
    low, high = mesh.bounds_mm() + np.array([[-1.0], [1.0]]) * (max(distance_mm, 0) + 2 * cell_mm)
    # Whole cells from the origin of the frame: a mesh symmetric in x = 0 gets a symmetric grid.
    first = np.floor(low / cell_mm - 0.5)
    cells = np.ceil(high / cell_mm) - first
    blocks = np.ceil(cells / _BLOCKS[0]).astype(np.int64)
    shape = blocks * _BLOCKS[0] + 1
    if np.prod(shape.astype(np.float64)) > _MOST_NODES:
        raise InputError(
            f"Cells of {cell_mm:g} mm over {np.round(high - low)} mm need "
            f"{np.prod(shape.astype(np.float64)):.3g} grid points.",
            "Choose larger cells.",
        )
    origin: Floats = (first + 0.5) * cell_mm
    scene = o3d.t.geometry.RaycastingScene()
    centre = mesh.bounds_mm().mean(axis=0)
    core: object = o3d.core
    tensor = core.Tensor  # type: ignore[attr-defined]
    scene.add_triangles(
        tensor((mesh.vertices - centre).astype(np.float32)), tensor(mesh.faces.astype(np.uint32))
    )

    def level(nodes: Ints) -> Floats:
        points = (origin - centre + nodes * cell_mm).astype(np.float32)
        signed = scene.compute_signed_distance(tensor(np.ascontiguousarray(points))).numpy()
        result: Floats = signed.astype(np.float64) - distance_mm
        return result

    values = np.empty(shape, dtype=np.float32)
    corners = np.stack(np.meshgrid(*map(np.arange, blocks), indexing="ij"), -1).reshape(-1, 3)
    corners *= _BLOCKS[0]
    for size, finer in zip(_BLOCKS, (*_BLOCKS[1:], 1), strict=True):
        at_centre = level(corners + size // 2)
        _fill(values, corners, size, np.where(at_centre < 0, -2 * cell_mm, 2 * cell_mm))
        corners = corners[np.abs(at_centre) <= 0.5 * np.sqrt(3) * size * cell_mm + 1e-3]
        steps = np.arange(0, size, finer)
        inner = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 3)
        corners = (corners[:, np.newaxis] + inner).reshape(-1, 3)
    # Of the finest blocks the nodes on their far sides are wanted too.
    wanted: Bools = np.zeros(shape, dtype=np.bool_)
    for shift in np.ndindex(2, 2, 2):
        wanted[tuple((corners + np.array(shift)).T)] = True
    nodes = np.argwhere(wanted)
    found = level(nodes)
    # A node exactly on the level would give triangles of no size.
    found[np.abs(found) < 1e-3 * cell_mm] = 1e-3 * cell_mm
    values[wanted] = found
    return values, origin


def _fill(values: Floats, corners: Ints, size: int, with_values: Floats) -> None:
    """Set all nodes of each block, its far sides included, to the block's value."""
    for (i, j, k), value in zip(corners.tolist(), with_values.tolist(), strict=True):
        values[i : i + size + 1, j : j + size + 1, k : k + size + 1] = value


def _outer_shells(mesh: TriangleMesh) -> TriangleMesh:
    """Drop enclosed hollows, which are wound inward, and crumbs."""
    labels = components(mesh)
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    volume = np.bincount(labels, weights=np.einsum("fi,fi->f", a, np.cross(b, c)) / 6.0)
    return mesh.faces_only(np.isin(labels, np.flatnonzero(volume > 1e-3 * volume.max())))[0]


def _evened(rough: TriangleMesh, mesh: TriangleMesh, distance_mm: float) -> TriangleMesh:
    """Slide vertices along the surface towards the middle of their neighbours."""
    adjacency = csr_array(vertex_adjacency(rough))
    mean = diags_array(1.0 / adjacency.sum(axis=1)) @ adjacency
    points, normals = _at_distance(rough.vertices, mesh, distance_mm)
    for _ in range(_RELAX_ROUNDS):
        for _ in range(2):
            step = mean @ points - points
            step -= np.einsum("vi,vi->v", step, normals)[:, np.newaxis] * normals
            points = points + _RELAX_STEP * step
        points, normals = _at_distance(points, mesh, distance_mm)
    points, normals = _at_distance(points, mesh, distance_mm)
    return _unfolded(rough.with_vertices(points), normals, rough, mean)


def _unfolded(
    even: TriangleMesh, normals: Floats, rough: TriangleMesh, mean: csr_array
) -> TriangleMesh:
    """Take back the evening where it turned faces over.

    In the sharp bottom of a groove that has closed, vertices of one wall can land on the
    other. The rough surface never crosses itself, so those vertices return to it; a little
    smoothing then rounds the bottom of the groove, away from the mesh.
    """
    held = np.zeros(len(rough.vertices), dtype=np.bool_)
    before = _unit_normals(rough)
    fallback = rough.vertices
    for _ in range(2):
        fallback = 0.5 * (fallback + mean @ fallback)
    pairs, _ = edges(rough)
    bent = np.einsum("ei,ei->e", normals[pairs[:, 0]], normals[pairs[:, 1]]) < 0.7
    creased = np.zeros(len(rough.vertices), dtype=np.bool_)
    creased[pairs[bent]] = True
    for _ in range(2):
        creased = _widened(creased, mean)
    near_crease = pairs[creased[pairs].any(axis=1)]
    for attempt in range(_UNFOLD_ROUNDS):
        agrees = np.einsum("fi,fci->fc", _unit_normals(even), normals[even.faces])
        kept_way = np.einsum("fi,fi->f", _unit_normals(even), before) > 0.3
        sound = (agrees.min(axis=1) > 0.3) | (kept_way & (agrees.max(axis=1) > 0))
        sound |= kept_way & held[even.faces].all(axis=1)
        turned = np.r_[even.faces[~sound].ravel(), _crossing(even, near_crease)]
        if len(turned) == 0:
            break
        held[turned] = True
        held = _widened(held, mean)
        if attempt >= _UNFOLD_ROUNDS // 2:
            fallback = rough.vertices
        even = even.with_vertices(np.where(held[:, np.newaxis], fallback, even.vertices))
    return even


def _widened(chosen: Bools, mean: csr_array) -> Bools:
    """Return the choice of vertices with all their neighbours."""
    widened: Bools = chosen | ((mean @ chosen.astype(np.float64)) > 0)
    return widened


def _crossing(mesh: TriangleMesh, pairs: Ints) -> Ints:
    """Return the vertices of those edges, of the given ones, that pass through a face, and it."""
    if len(pairs) == 0:
        return np.zeros(0, dtype=np.int64)
    start, along = mesh.vertices[pairs[:, 0]], np.diff(mesh.vertices[pairs], axis=1)[:, 0]
    hits = SurfaceRays(mesh).all_hits(start, along)
    pair, face = pairs[hits.rays], mesh.faces[hits.faces]
    touching = (face[:, :, np.newaxis] == pair[:, np.newaxis]).any(axis=(1, 2))
    # An edge in the plane of a flat face lies beside it, not through it.
    normals = _unit_normals(mesh)[hits.faces]
    heights = np.einsum("kei,ki->ke", mesh.vertices[pair] - hits.points_mm[:, np.newaxis], normals)
    through = (heights.min(axis=1) < -1e-3) & (heights.max(axis=1) > 1e-3)
    crossing = through & ~touching
    return np.concatenate([pair[crossing].ravel(), face[crossing].ravel()])


def _unit_normals(mesh: TriangleMesh) -> Floats:
    scaled = mesh.face_normals_scaled()
    unit: Floats = scaled / np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    return unit


def _at_distance(points: Floats, mesh: TriangleMesh, distance_mm: float) -> tuple[Floats, Floats]:
    """Return the points put at the distance straight above their nearest, and the outward way."""
    nearest, faces, reach = nearest_on_mesh(mesh, points)
    scaled = mesh.face_normals_scaled()[faces]
    normals = scaled / np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    away = (points - nearest) / np.maximum(reach, 1e-12)[:, np.newaxis]
    outside = np.einsum("vi,vi->v", away, normals)
    outward = away * np.where(outside < 0, -1.0, 1.0)[:, np.newaxis]
    # Too near the mesh the way away from it is rounding; the face knows better.
    outward = np.where((reach < 1e-3)[:, np.newaxis], normals, outward)
    return nearest + distance_mm * outward, outward
