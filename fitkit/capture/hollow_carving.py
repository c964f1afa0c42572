"""What rough stereo takes off the hull of a body's outlines: hollows that no outline tells.

On a plain surface stereo errs, mostly too deep, and on a thin limb before a room with a pattern
it may miss the limb altogether. But each pixel of an outline shows the body: what carving has laid
bare there is put back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.ndimage import gaussian_filter

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.free_space import seen_through
from fitkit.capture.outlined_body import OutlinedBody, shown_px, shrunk
from fitkit.capture.signed_grid import GridValues, SignedGrid
from fitkit.geometry.arrays import Bools, Floats

__all__ = ["carved_hull"]

# Stereo on a plain surface is off by this much: it carves only what lies farther before it.
_CARVE_MM, _CARVE_VOTES = 10.0, 5
# Edges of outlines and of what is seen of a surface are off by a pixel.
_EDGE_PX = 1


def carved_hull(
    outlined: OutlinedBody, fine: Sequence[DepthMap], cameras: Sequence[Camera], *, scale: float
) -> SignedGrid:
    """Return the hull without what five depth maps look through, its outlines still filled.

    Parameters
    ----------
    outlined
        The body by its outlines.
    fine
        Depth maps of the body that agree, however roughly.
    cameras
        Of the outlines.
    scale
        Size of the subject's detail against that of a body.
    """
    hull = outlined.hull
    axes = [hull.nodes_mm(axis) for axis in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    inner = hull.values_mm > -hull.cell_mm
    free = np.zeros(inner.shape, dtype=np.float32)
    free[inner] = seen_through(fine, nodes[inner], margin_mm=scale * _CARVE_MM) >= _CARVE_VOTES
    free[free > 0] = ~_laid_bare(outlined, _without(hull, free), nodes[free > 0], cameras)
    return _without(hull, free)


def _without(hull: SignedGrid, free: GridValues) -> SignedGrid:
    kept = np.float32(2.0 * hull.cell_mm) * (np.float32(0.5) - gaussian_filter(free, 1.0))
    return replace(hull, values_mm=np.minimum(hull.values_mm, kept))


def _laid_bare(
    outlined: OutlinedBody, carved: SignedGrid, places_mm: Floats, cameras: Sequence[Camera]
) -> Bools:
    """(N,) bool: places that lie in an outline where only the hull before carving shows."""
    whole, left = mesh_of_grid(outlined.hull), mesh_of_grid(carved)
    laid_bare = np.zeros(len(places_mm), dtype=np.bool_)
    for outline, camera in zip(outlined.outlines, cameras, strict=True):
        if outline is None:
            continue
        filled, by_px = shown_px(whole, camera, outline.shape, cell_mm=carved.cell_mm)
        seen, _ = shown_px(left, camera, outline.shape, cell_mm=carved.cell_mm)
        bare = shrunk(outline & shrunk(filled, by_px), _EDGE_PX) & ~shrunk(seen, by_px)
        laid_bare |= _at(bare, places_mm, camera)
    return laid_bare


def _at(mask: Bools, places_mm: Floats, camera: Camera) -> Bools:
    """(N,) bool: the mask where a photo shows each place, False outside it."""
    height, width = mask.shape
    shown = np.zeros(len(places_mm), dtype=np.bool_)
    ahead = np.flatnonzero(camera.camera_from_world.apply(places_mm)[:, 2] > 1.0)
    factor = np.array([width / camera.lens.width_px, height / camera.lens.height_px])
    column, row = np.rint((camera.project(places_mm[ahead]) + 0.5) * factor - 0.5).T
    inside = (column >= 0) & (row >= 0) & (column < width) & (row < height)
    place = row[inside].astype(np.int64), column[inside].astype(np.int64)
    shown[ahead[inside]] = mask[place]
    return shown
