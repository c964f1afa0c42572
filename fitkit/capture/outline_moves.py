"""Moves of a surface that bring its rims onto the body's outline in the photos."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from fitkit.capture.camera import Camera
from fitkit.capture.hollow_moves import hollow_moves
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.refinement_pass import RefinementPass, best_moves
from fitkit.capture.rim_edges import rim_likeness
from fitkit.capture.surface_smoothing import Sparse, averaging, even_normals, smooth_moves
from fitkit.geometry.arrays import Bools, Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["Outlines", "follow_outlines", "mixed_moves", "rim_moves"]

_RIM_VOTES_PER_MM2 = 0.024
_RIM_CLEAR_MM, _RIM_BEHIND_MM, _RIM_CELL_MM = 4.0, 20.0, 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Photos in which the outline of the body may be looked for.

    Attributes
    ----------
    pictures
        (h, w) or (h, w, 3) uint8, one a camera, in any size.
    above_mm
        Height below which the body goes on as something else.
    cloud
        What stereo takes for the body, however roughly: it tells the hollows, in which no
        outline runs. None for a body with a pattern, which follows outlines only where nothing
        else holds it.
    """

    pictures: Sequence[Bytes]
    above_mm: float
    cloud: PointCloud | None


def follow_outlines(
    mesh: TriangleMesh,
    cameras: Sequence[Camera],
    outlines: Outlines,
    settings: RefinementPass,
    *,
    sink: bool = False,
) -> tuple[TriangleMesh, Floats]:
    """Return the mesh with its rims on the edges between body and room.

    The same as :func:`fitkit.capture.surface_refinement.refine_surface` for a body without any
    pattern, at a fraction of the work. ``sink`` also moves what no rim holds down to where
    stereo puts it; again and again that would follow all of its errors.
    """
    averaged = averaging(sp.csr_array(vertex_adjacency(mesh)))
    normal = even_normals(mesh, averaged)
    offset, certainty = rim_moves(mesh, normal, cameras, outlines, averaged, settings)
    if sink and outlines.cloud is not None:
        inward, belief = hollow_moves(
            mesh, normal, outlines.cloud, certainty, averaged, scale=settings.scale
        )
        offset, certainty = mixed_moves(offset, certainty, inward, belief)
    smooth = smooth_moves(
        offset, certainty, averaged, stiffness=settings.stiffness, step_mm=settings.step_mm
    )
    return mesh.with_vertices(mesh.vertices + normal * smooth[:, None]), certainty


def mixed_moves(
    offset: Floats, certainty: Floats, other: Floats, belief: Floats
) -> tuple[Floats, Floats]:
    """Return the mean of two moves, (V,) float mm, by how much each is believed, and the sum."""
    both = certainty + belief
    return (certainty * offset + belief * other) / np.maximum(both, 1e-9), both


def rim_moves(
    mesh: TriangleMesh,
    normal: Floats,
    cameras: Sequence[Camera],
    outlines: Outlines,
    averaged: Sparse,
    settings: RefinementPass,
    only: Bools | None = None,
) -> tuple[Floats, Floats]:
    """Return the moves that bring rims to edges in the photos, and how much to believe them.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    normal
        (V, 3) float: of :func:`fitkit.capture.surface_smoothing.even_normals`.
    cameras, outlines
        In the same order.
    averaged
        Of :func:`fitkit.capture.surface_smoothing.averaging`.
    settings
        How to search.
    only
        (V,) bool: vertices whose rims are looked for; all where None.

    Returns
    -------
    Floats, Floats
        (V,) float mm and 0 to 4.
    """
    moves = settings.moves_mm()
    strength, seen = rim_likeness(
        mesh,
        normal,
        cameras,
        outlines.pictures,
        moves,
        clear_mm=settings.scale * _RIM_CLEAR_MM,
        behind_mm=settings.scale * _RIM_BEHIND_MM,
        cell_mm=settings.scale * _RIM_CELL_MM,
        above_mm=outlines.above_mm,
        only=only,
    )
    total, weight = strength * seen[:, None], seen
    for _ in range(settings.averaging):
        total, weight = 0.5 * (total + averaged @ total), 0.5 * (weight + averaged @ weight)
    # Edges farther off are more often another thing's.
    near = np.exp(-0.5 * (moves / (0.6 * settings.reach_mm)) ** 2)
    likeness = total / np.maximum(weight, 1e-9)[:, None] * near
    offset, certainty = best_moves(likeness, moves)
    # On a finer mesh the same votes are spread over more vertices.
    room_mm2 = float(mesh.face_areas_mm2().sum()) / len(mesh.vertices)
    votes = _RIM_VOTES_PER_MM2 * room_mm2 / settings.scale**2
    # A ray that grazes a long ridge touches the body in one place of it only: few votes count
    # for next to nothing, and the ridge is left to smoothness.
    certainty *= np.clip(weight / votes, 0.0, 1.0) ** 3
    return offset, certainty
