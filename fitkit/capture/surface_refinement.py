"""Move a rough surface along its normals to where the photos look alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp

from fitkit.capture.camera import Camera
from fitkit.capture.hollow_moves import hollow_moves
from fitkit.capture.outline_moves import Outlines, mixed_moves, rim_moves
from fitkit.capture.photo_patches import (
    MOST_VIEWS,
    PhotoStack,
    SurfacePatches,
    patch_likeness,
)
from fitkit.capture.refinement_pass import SOME_CERTAINTY, RefinementPass, best_moves
from fitkit.capture.surface_bends import second_form, tangents
from fitkit.capture.surface_smoothing import Sparse, averaging, even_normals, smooth_moves
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["best_views", "refine_surface"]

_LEAST_COSINE = 0.35
_CLEAR_MM = 6.0
_SHARPEST_BEND_PER_MM = 0.06
# Certainty of the pattern from which on outlines are not asked.
_SURE = 0.5


def refine_surface(
    mesh: TriangleMesh,
    cameras: Sequence[Camera],
    photos: PhotoStack,
    settings: RefinementPass,
    outlines: Outlines | None = None,
    only: Bools | None = None,
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
    only
        (V,) bool: vertices whose rims are looked for; all where None.

    Returns
    -------
    TriangleMesh
        The same faces, moved vertices.
    Floats
        (V,) float, 0 to 4: 0 where the photos say nothing.
    """
    adjacency = sp.csr_array(vertex_adjacency(mesh))
    averaged = averaging(adjacency)
    normal = even_normals(mesh, averaged)
    patches = _patches(mesh, normal, averaged, adjacency, cameras, settings.scale)
    moves = settings.moves_mm()
    likeness = patch_likeness(
        photos, patches, moves, spacing_mm=settings.spacing_mm, half_n=settings.half_n
    ).astype(np.float64)
    for _ in range(settings.averaging):
        likeness = 0.5 * likeness + 0.5 * (averaged @ likeness)
    offset, certainty = best_moves(likeness, moves)
    certainty[patches.views_n < 2] = 0.0
    if outlines is not None:
        # Highlights and shading look a little alike everywhere.
        certainty[certainty < SOME_CERTAINTY] = 0.0
        rim, held = rim_moves(mesh, normal, cameras, outlines, averaged, settings, only)
        held *= np.clip(1.0 - certainty / _SURE, 0.0, 1.0)
        offset, certainty = mixed_moves(offset, certainty, rim, held)
    if outlines is not None and outlines.cloud is not None:
        # A hollow stays as deep as it was found; else bending least would lift it out again.
        _, belief = hollow_moves(
            mesh, normal, outlines.cloud, certainty, averaged, scale=settings.scale
        )
        offset, certainty = mixed_moves(offset, certainty, np.zeros(len(offset)), belief)
    smooth = smooth_moves(
        offset, certainty, averaged, stiffness=settings.stiffness, step_mm=settings.step_mm
    )
    return mesh.with_vertices(mesh.vertices + normal * smooth[:, None]), certainty


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
    along, across = tangents(normal)
    sharpest = _SHARPEST_BEND_PER_MM / scale
    bend = second_form(mesh, normal, along, across, averaged, adjacency)
    bend = np.clip(bend, -sharpest, sharpest)
    views, views_n = best_views(mesh, normal, cameras, clear_mm=scale * _CLEAR_MM)
    return SurfacePatches(mesh.vertices, normal, along, across, bend, views, views_n)


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
    scene = MeshScene(mesh)
    squareness = np.full((len(mesh.vertices), max(len(cameras), MOST_VIEWS)), -1.0, np.float32)
    for index, camera in enumerate(cameras):
        towards = _unit(camera.centre_mm() - mesh.vertices)
        cosine = np.einsum("vi,vi->v", towards, normal)
        facing = np.flatnonzero(cosine > _LEAST_COSINE)
        start = mesh.vertices[facing] + clear_mm * normal[facing]
        free = facing[~scene.stopped(start, towards[facing])]
        squareness[free, index] = cosine[free]
    order = np.argsort(-squareness, axis=1, kind="stable")[:, :MOST_VIEWS].astype(np.int64)
    count = (np.take_along_axis(squareness, order, axis=1) > 0).sum(axis=1).astype(np.int64)
    return order, count
