"""Move a rough surface along its normals to where the photos look alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
import open3d as o3d
import scipy.sparse as sp
from scipy.sparse.linalg import LinearOperator, cg

from fitkit.capture.camera import Camera
from fitkit.capture.photo_patches import (
    MOST_VIEWS,
    PhotoStack,
    SurfacePatches,
    patch_likeness,
)
from fitkit.capture.rim_edges import rim_likeness
from fitkit.geometry.arrays import Bytes, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = [
    "SOME_CERTAINTY",
    "Outlines",
    "RefinementPass",
    "best_views",
    "even_out",
    "fair",
    "follow_outlines",
    "refine_surface",
]

Sparse: TypeAlias = Any  # scipy ships no types

_LEAST_COSINE = 0.35
_CLEAR_MM = 6.0
_NORMAL_ROUNDS = 3
_BEND_ROUNDS = 2
_SHARPEST_BEND_PER_MM = 0.06
# Correlation that patches of unrelated pattern reach by chance.
_CHANCE = 0.3
_STAY = 1e-4
SOME_CERTAINTY = 0.1
"""Certainty of a place below which its patterns say nothing."""

# Certainty of the pattern from which on outlines are not asked.
_SURE = 0.5
_RIM_VOTES_PER_MM2 = 0.024
_RIM_CLEAR_MM, _RIM_CELL_MM = 4.0, 6.0


@dataclass(frozen=True, slots=True)
class RefinementPass:
    """How one pass searches.

    Attributes
    ----------
    reach_mm, step_mm
        Farthest move along the normal, both ways, and the distance between moves tried.
    spacing_mm, half_n
        Patch: distance between samples, and samples from the middle to the edge.
    stiffness
        Weight of the smoothness of the moves against a fully certain place.
    averaging
        Rounds in which the likeness is averaged with the neighbours'.
    scale
        Size of the subject's detail against that of a body: what counts as clear of the
        surface shrinks with it, and the sharpest bend grows.
    """

    reach_mm: float
    step_mm: float
    spacing_mm: float
    half_n: int
    stiffness: float = 0.5
    averaging: int = 2
    scale: float = 1.0

    def scaled(self, factor: float) -> RefinementPass:
        """Return the pass for a subject whose detail is that much finer."""
        return replace(
            self,
            reach_mm=factor * self.reach_mm,
            step_mm=factor * self.step_mm,
            spacing_mm=factor * self.spacing_mm,
            scale=factor * self.scale,
        )

    def moves_mm(self) -> Floats:
        """(O,) float mm: the moves tried."""
        last = self.reach_mm + 0.5 * self.step_mm
        moves: Floats = np.arange(-self.reach_mm, last, self.step_mm, dtype=np.float64)
        return moves


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Photos in which the outline of the body may be looked for.

    Attributes
    ----------
    pictures
        (h, w) or (h, w, 3) uint8, one a camera, in any size.
    above_mm
        Height below which the body goes on as something else.
    """

    pictures: Sequence[Bytes]
    above_mm: float


def refine_surface(
    mesh: TriangleMesh,
    cameras: Sequence[Camera],
    photos: PhotoStack,
    settings: RefinementPass,
    outlines: Outlines | None = None,
) -> tuple[TriangleMesh, Floats]:
    """Return the mesh with moved vertices, and how certain each is.

    Per vertex the offset along the normal is sought at which a patch, bent like the
    surface, looks most alike in the photos that see it. The offsets are then smoothed by a
    bi-Laplacian solve in which certain vertices count more; where the photos say nothing,
    a vertex follows its neighbours.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    cameras, photos
        In the same order.
    settings
        How to search.
    outlines
        Where given, a vertex on the rim that the patterns leave in doubt follows the edge
        between body and room.

    Returns
    -------
    TriangleMesh
        The same faces, moved vertices.
    Floats
        (V,) float, 0 to 4: 0 where the photos say nothing.
    """
    adjacency = sp.csr_array(vertex_adjacency(mesh))
    averaged = _averaging(adjacency)
    normal = _even_normals(mesh, averaged)
    patches = _patches(mesh, normal, averaged, adjacency, cameras, settings.scale)
    moves = settings.moves_mm()
    likeness = patch_likeness(
        photos, patches, moves, spacing_mm=settings.spacing_mm, half_n=settings.half_n
    ).astype(np.float64)
    for _ in range(settings.averaging):
        likeness = 0.5 * likeness + 0.5 * (averaged @ likeness)
    offset, certainty = _peaks(likeness, moves)
    certainty[patches.views_n < 2] = 0.0
    if outlines is not None:
        # Highlights and shading look a little alike everywhere.
        certainty[certainty < SOME_CERTAINTY] = 0.0
        rim, held = _rim_peaks(mesh, normal, cameras, outlines, moves, averaged, settings)
        held *= np.clip(1.0 - certainty / _SURE, 0.0, 1.0)
        both = certainty + held
        offset = (certainty * offset + held * rim) / np.maximum(both, 1e-9)
        certainty = both
    smooth = _smoothed(offset, certainty, averaged, settings)
    return mesh.with_vertices(mesh.vertices + normal * smooth[:, None]), certainty


def follow_outlines(
    mesh: TriangleMesh, cameras: Sequence[Camera], outlines: Outlines, settings: RefinementPass
) -> tuple[TriangleMesh, Floats]:
    """Return the mesh with its rims on the edges between body and room, patterns left aside.

    The same as :func:`refine_surface` for a body without any pattern, at a fraction of the work.
    """
    averaged = _averaging(sp.csr_array(vertex_adjacency(mesh)))
    normal = _even_normals(mesh, averaged)
    moves = settings.moves_mm()
    offset, certainty = _rim_peaks(mesh, normal, cameras, outlines, moves, averaged, settings)
    smooth = _smoothed(offset, certainty, averaged, settings)
    return mesh.with_vertices(mesh.vertices + normal * smooth[:, None]), certainty


def _even_normals(mesh: TriangleMesh, averaged: Sparse) -> Floats:
    normal = mesh.vertex_normals()
    for _ in range(_NORMAL_ROUNDS):
        normal = _unit(normal + averaged @ normal)
    return normal


def _rim_peaks(
    mesh: TriangleMesh,
    normal: Floats,
    cameras: Sequence[Camera],
    outlines: Outlines,
    moves: Floats,
    averaged: Sparse,
    settings: RefinementPass,
) -> tuple[Floats, Floats]:
    """Return the moves that bring rims to edges in the photos, and how much to believe them."""
    strength, seen = rim_likeness(
        mesh,
        normal,
        cameras,
        outlines.pictures,
        moves,
        clear_mm=settings.scale * _RIM_CLEAR_MM,
        cell_mm=settings.scale * _RIM_CELL_MM,
        above_mm=outlines.above_mm,
    )
    total, weight = strength * seen[:, None], seen
    for _ in range(settings.averaging):
        total, weight = 0.5 * (total + averaged @ total), 0.5 * (weight + averaged @ weight)
    # Edges farther off are more often another thing's.
    near = np.exp(-0.5 * (moves / (0.6 * settings.reach_mm)) ** 2)
    likeness = total / np.maximum(weight, 1e-9)[:, None] * near
    offset, certainty = _peaks(likeness, moves)
    # On a finer mesh the same votes are spread over more vertices.
    room_mm2 = float(mesh.face_areas_mm2().sum()) / len(mesh.vertices)
    votes = _RIM_VOTES_PER_MM2 * room_mm2 / settings.scale**2
    # A ray that grazes a long ridge touches the body in one place of it only: few votes count
    # for next to nothing, and the ridge is left to smoothness.
    certainty *= np.clip(weight / votes, 0.0, 1.0) ** 3
    return offset, certainty


def fair(mesh: TriangleMesh, certainty: Floats, *, stiffness: float = 0.5) -> TriangleMesh:
    """Return the mesh bent as little as what is certain of it allows.

    Minimises certainty |x - x0|^2 + stiffness |L x|^2 over the vertices: certain places stay
    where they are, and a gap between them goes on as they do.

    Parameters
    ----------
    mesh
        Any mesh.
    certainty
        (V,) float, 0 and up.
    stiffness
        Weight of the smoothness.
    """
    averaged = _averaging(sp.csr_array(vertex_adjacency(mesh)))
    rough = sp.csr_array(sp.eye_array(len(mesh.vertices)) - averaged)
    across = sp.csr_array(rough.T)
    squares = stiffness * np.asarray(rough.power(2).sum(axis=0)).ravel()
    weight = certainty + _STAY
    start = np.zeros(len(weight))
    # Solved for the moves: their size, not that of the coordinates, sets the accuracy.
    moves = [
        _solved(weight, rough, across, squares, -stiffness * bend, start, stiffness, 400)
        for bend in (across @ (rough @ mesh.vertices)).T
    ]
    return mesh.with_vertices(mesh.vertices + np.stack(moves, axis=1))


def even_out(mesh: TriangleMesh, freedom: Floats, *, rounds: int = 40) -> TriangleMesh:
    """Return the mesh with its free places drawn flat.

    Each round moves a free vertex half-way to the mean of its neighbours, so that what only
    bridges a gap spans it like a soap film instead of showing noise.

    Parameters
    ----------
    mesh
        Any mesh.
    freedom
        (V,) float, 0 (stays where it is) to 1.
    rounds
        How often to move.
    """
    averaged = _averaging(sp.csr_array(vertex_adjacency(mesh)))
    for _ in range(3):
        freedom = np.minimum(freedom, 0.5 * freedom + 0.5 * (averaged @ freedom))
    share = 0.5 * freedom[:, None]
    vertices = mesh.vertices
    for _ in range(rounds):
        vertices = vertices + share * (averaged @ vertices - vertices)
    return mesh.with_vertices(vertices)


def _averaging(adjacency: Sparse) -> Sparse:
    """Return the matrix that takes the mean over each vertex's neighbours."""
    return sp.diags_array(1.0 / np.maximum(adjacency.sum(axis=1), 1.0)) @ adjacency


def _unit(vectors: Floats) -> Floats:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    unit: Floats = vectors / np.where(length > 0, length, 1.0)
    return unit


def _patches(
    mesh: TriangleMesh,
    normal: Floats,
    averaged: Sparse,
    adjacency: Sparse,
    cameras: Sequence[Camera],
    scale: float,
) -> SurfacePatches:
    helper = np.where(np.abs(normal[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    along = _unit(np.cross(helper, normal))
    across = np.cross(normal, along)
    sharpest = _SHARPEST_BEND_PER_MM / scale
    bend = _second_form(mesh, normal, along, across, averaged, adjacency)
    bend = np.clip(bend, -sharpest, sharpest)
    views, views_n = best_views(mesh, normal, cameras, clear_mm=scale * _CLEAR_MM)
    return SurfacePatches(mesh.vertices, normal, along, across, bend, views, views_n)


def _second_form(
    mesh: TriangleMesh,
    normal: Floats,
    along: Floats,
    across: Floats,
    averaged: Sparse,
    adjacency: Sparse,
) -> Floats:
    """(V, 3) float per mm: how normals turn from vertex to vertex, by least squares.

    The turn of the normal over an edge (s, t) is (a s + b t, b s + c t). The places are
    evened out as the normals were; else the uneven triangles would make the surface look
    flatter than it is.
    """
    pairs = adjacency.tocoo()
    i, j = pairs.coords
    place = mesh.vertices
    for _ in range(_NORMAL_ROUNDS):
        place = 0.5 * (place + averaged @ place)
    edge, turn = place[j] - place[i], normal[j] - normal[i]

    def dot(left: Floats, right: Floats) -> Floats:
        product: Floats = np.einsum("ei,ei->e", left, right)
        return product

    s, t = dot(edge, along[i]), dot(edge, across[i])
    p, q = dot(turn, along[i]), dot(turn, across[i])
    count = len(mesh.vertices)

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(i, values, count), dtype=np.float64)

    ss, st, tt = total(s * s), total(s * t), total(t * t)
    zero = np.zeros(count)
    left = np.stack([ss, st, zero, st, ss + tt, st, zero, st, tt], axis=1).reshape(-1, 3, 3)
    right = np.stack([total(s * p), total(t * p + s * q), total(t * q)], axis=1)
    left += (1e-3 * (ss + tt) + 1e-9)[:, None, None] * np.eye(3)
    a, b, c = np.linalg.solve(left, right[:, :, None])[:, :, 0].T
    # The tangents turn from vertex to vertex: average the form as a matrix of the world.
    form = (
        a[:, None, None] * along[:, :, None] * along[:, None, :]
        + b[:, None, None]
        * (along[:, :, None] * across[:, None, :] + across[:, :, None] * along[:, None, :])
        + c[:, None, None] * across[:, :, None] * across[:, None, :]
    ).reshape(-1, 9)
    for _ in range(_BEND_ROUNDS):
        form = 0.5 * form + 0.5 * (averaged @ form)
    matrix = form.reshape(-1, 3, 3)
    bend: Floats = np.stack(
        [
            np.einsum("vi,vij,vj->v", one, matrix, other)
            for one, other in ((along, along), (along, across), (across, across))
        ],
        axis=1,
    )
    return bend


def best_views(
    mesh: TriangleMesh, normal: Floats, cameras: Sequence[Camera], *, clear_mm: float = _CLEAR_MM
) -> tuple[Ints, Ints]:
    """Return per vertex the cameras that see it most squarely and how many do, up to six.

    Parameters
    ----------
    mesh
        Any mesh; it hides parts of itself.
    normal
        (V, 3) float, unit, outward.
    cameras
        Where the photos were taken from; what lies outside a photo still counts as seen.
    clear_mm
        How far above the surface rays start, clear of its own unevenness.

    Returns
    -------
    Ints
        (V, 6) int: camera indices, best first.
    Ints
        (V,) int: how many of them see the vertex within 70 degrees of its normal.
    """
    tensor: Any = o3d.core.Tensor  # its stubs want more arguments than the library does
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(
        tensor(mesh.vertices.astype(np.float32)), tensor(mesh.faces.astype(np.uint32))
    )
    squareness = np.full((len(mesh.vertices), max(len(cameras), MOST_VIEWS)), -1.0, np.float32)
    for index, camera in enumerate(cameras):
        towards = _unit(camera.centre_mm() - mesh.vertices)
        cosine = np.einsum("vi,vi->v", towards, normal)
        facing = np.flatnonzero(cosine > _LEAST_COSINE)
        start = mesh.vertices[facing] + clear_mm * normal[facing]
        rays = np.hstack([start, towards[facing]]).astype(np.float32)
        hidden = scene.test_occlusions(tensor(rays)).numpy()
        squareness[facing[~hidden], index] = cosine[facing[~hidden]]
    order = np.argsort(-squareness, axis=1, kind="stable")[:, :MOST_VIEWS].astype(np.int64)
    count = (np.take_along_axis(squareness, order, axis=1) > 0).sum(axis=1).astype(np.int64)
    return order, count


def _peaks(likeness: Floats, moves: Floats) -> tuple[Floats, Floats]:
    """Return the move of greatest likeness, by a parabola, and how much to believe it."""
    every = np.arange(len(likeness))
    best = likeness.argmax(axis=1)
    peak = likeness[every, best]
    inner = np.clip(best, 1, len(moves) - 2)
    before, at, after = (likeness[every, inner + k] for k in (-1, 0, 1))
    curve = before - 2.0 * at + after
    flat = np.abs(curve) < 1e-9
    part = np.where(flat, 0.0, 0.5 * (before - after) / np.where(flat, 1.0, curve))
    step = moves[1] - moves[0]
    offset = moves[inner] + np.clip(part, -1.0, 1.0) * step
    above_rest = np.clip(peak - np.median(likeness, axis=1), 0.0, 1.0)
    certainty = 4.0 * np.clip(peak - _CHANCE, 0.0, 1.0) * above_rest
    certainty[best != inner] = 0.0
    return offset, certainty


def _smoothed(
    offset: Floats, certainty: Floats, averaged: Sparse, settings: RefinementPass
) -> Floats:
    """Minimise certainty (x - offset)^2 + stiffness |L x|^2, outliers weighted down once."""
    count = len(offset)
    rough = sp.csr_array(sp.eye_array(count) - averaged)
    across = sp.csr_array(rough.T)
    squares = settings.stiffness * np.asarray(rough.power(2).sum(axis=0)).ravel()
    smooth = np.zeros(count)
    weight = certainty
    for _ in range(2):
        smooth = _solved(
            weight + _STAY, rough, across, squares, weight * offset, smooth, settings.stiffness
        )
        error = np.abs(smooth - offset)
        weight = certainty / (1.0 + (error / (2.0 * settings.step_mm)) ** 2)
    return smooth


def _solved(
    weight: Floats,
    rough: Sparse,
    across: Sparse,
    squares: Floats,
    wanted: Floats,
    start: Floats,
    stiffness: float,
    most: int = 80,
) -> Floats:
    """Solve (weight + stiffness L'L) x = wanted by conjugate gradients, scaled by the diagonal."""
    shape = rough.shape

    def times(x: Floats) -> Floats:
        product: Floats = weight * x + stiffness * (across @ (rough @ x))
        return product

    inverse = 1.0 / (weight + squares)
    solution, _ = cg(
        LinearOperator(shape, matvec=times, dtype=np.float64),
        wanted,
        x0=start,
        rtol=1e-3,
        maxiter=most,
        M=LinearOperator(shape, matvec=lambda x: inverse * x, dtype=np.float64),
    )
    return np.asarray(solution, dtype=np.float64)
