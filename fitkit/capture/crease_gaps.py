"""Gaps at the creases of a body: where arm meets trunk and leg meets leg.

The hull of all outlines, and a surface through a cloud, close the narrow end of such a gap with a
web that bends sharply inwards. On a plain body nothing says which places are surely there, so that
gaps cannot be looked for all over; at a sharp valley that stereo does not hold they can, and so
nearer to the cloud than elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.point_cloud import PointCloud, to_like_points_mm
from fitkit.capture.seen_gaps import held_amid_held, open_gaps, spanned_areas
from fitkit.capture.signed_grid import SignedGrid
from fitkit.capture.surface_bends import least_bend_per_mm
from fitkit.geometry.arrays import Bytes
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["open_creases"]

_SHARP_PER_MM, _RINGS = 0.04, 3
# Stereo on a plain surface is off by 4 to 5 mm.
_FAR_MM, _HELD_MM = 5.0, 6.0


def open_creases(
    grid: SignedGrid,
    cloud: PointCloud,
    pictures: Sequence[Bytes],
    cameras: Sequence[Camera],
    *,
    bottom_mm: float,
    scale: float,
) -> TriangleMesh:
    """Return the surface of a grid, its webs opened where two photos look through them.

    Parameters
    ----------
    grid
        Signed distances of the surface so far.
    cloud
        What stereo takes for the body, however roughly.
    pictures, cameras
        (h, w, 3) or (h, w) uint8, of any size, in the same order.
    bottom_mm
        Height below which the surface is cut off later.
    scale
        Size of the subject's detail against that of a body.
    """
    surface = mesh_of_grid(grid)
    distance = to_like_points_mm(surface, cloud, cKDTree(cloud.points_mm))
    near_crease = least_bend_per_mm(surface) < -_SHARP_PER_MM / scale
    adjacency = sp.csr_array(vertex_adjacency(surface))
    for _ in range(_RINGS):
        near_crease |= adjacency @ near_crease > 0
    areas = spanned_areas(
        surface,
        np.where(near_crease, distance, 0.0),
        bottom_mm=bottom_mm,
        scale=scale,
        far_mm=scale * _FAR_MM,
    )
    if not areas:
        return surface
    held = held_amid_held(surface, distance < scale * _HELD_MM)
    opened = open_gaps(grid, surface, areas, held, pictures, cameras, say=lambda _: None)
    return mesh_of_grid(opened)
