"""The body by its outlines alone: for cloth and lacquer on which stereo finds nothing to hold.

Outlines by colour, seeded with what stereo knows; the hull of all of them, which forgives each
photo its mistakes; outlines again, seeded with that hull, twice over and ever closer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import column_points, inside_volume, seen_by
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.signed_grid import SignedGrid
from fitkit.capture.silhouette import reduced_colour, silhouette, splat
from fitkit.capture.start_surface import BELOW_MM
from fitkit.capture.visual_hull import hull_grid
from fitkit.geometry.arrays import Bools, Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["OutlinedBody", "outlined_body", "shown_px", "shrunk"]

_CELL_MM, _MARGIN_MM = 7.0, 40.0
_FLOOR_MM = 60.0
_SURE_PX = 3
_FEWEST_OUTLINES = 3
# Each round: how far the hull it starts from may be off (between that inside and outside it
# nothing is known), and which share of the photos may be wrong about a place.
_ROUNDS = ((0.0, 0.09), (24.0, 0.04), (14.0, 0.02))


@dataclass(frozen=True, slots=True, eq=False)
class OutlinedBody:
    """The body's outlines and the largest body inside them.

    Attributes
    ----------
    hull
        How far inside the outlines each node round the body lies.
    outlines
        (h, w) bool for each camera: pixels that show the body; None where colours do not tell.
    """

    hull: SignedGrid
    outlines: tuple[Bools | None, ...]


def outlined_body(
    pictures: Sequence[Bytes],
    cameras: Sequence[Camera],
    wide: Sequence[DepthMap],
    fine: Sequence[DepthMap],
    volume: CaptureVolume,
    points_mm: Floats,
    *,
    scale: float,
    say: Callable[[float], None],
) -> OutlinedBody | None:
    """Return the body's outlines and their hull; None when fewer than three photos tell any.

    Parameters
    ----------
    pictures, cameras
        (h, w, 3) or (h, w) uint8, of any size, in the same order.
    wide, fine
        Depths that several pairs agree on, of the whole room and of the body.
    volume
        The column in which the body stands, its bottom lowered by ``BELOW_MM``.
    points_mm
        (N, 3) float mm: what stereo took for the body; its box is searched.
    scale
        Size of the subject's detail against that of a body.
    say
        Told the fraction done.
    """
    colours = [reduced_colour(picture) for picture in pictures]
    low = points_mm.min(axis=0) - scale * _MARGIN_MM
    high = points_mm.max(axis=0) + scale * _MARGIN_MM
    low[2] = volume.bottom_mm - scale * _MARGIN_MM
    hull: SignedGrid | None = None
    outlines: list[Bools | None] = [None] * len(cameras)
    for part, (doubt_mm, spare_share) in enumerate(_ROUNDS):
        surface = mesh_of_grid(hull) if hull is not None else None
        for index, (colour, camera) in enumerate(zip(colours, cameras, strict=True)):
            if surface is None:
                body, room = _known_by_stereo(colour, camera, wide, fine, volume, scale)
            else:
                body, room = _known_by_hull(
                    colour, camera, surface, volume, scale, scale * doubt_mm
                )
                first = outlines[index]
                # A gap that the hull has lost is still seen in the photos that look through it.
                body &= first if first is not None else True
            outlines[index] = silhouette(colour, body=body, room=room)
            say((part + (index + 1) / len(cameras)) / len(_ROUNDS))
        told = [k for k, outline in enumerate(outlines) if outline is not None]
        if len(told) < _FEWEST_OUTLINES:
            return None
        hull = hull_grid(
            [outline for outline in outlines if outline is not None],
            [cameras[k] for k in told],
            low,
            high,
            cell_mm=scale * _CELL_MM,
            spare=int(np.ceil(spare_share * len(told))),
        )
        if hull.values_mm.max() <= 0.0:
            return None
    return OutlinedBody(hull, tuple(outlines)) if hull is not None else None


def shown_px(
    surface: TriangleMesh, camera: Camera, shape: tuple[int, ...], *, cell_mm: float
) -> tuple[Bools, int]:
    """(h, w) bool: pixels that show a surface, grown by as many as are told with them.

    Parameters
    ----------
    surface
        Of a grid with cells of ``cell_mm``; its corners and the middles of its faces are marked.
    camera, shape
        The photo and the size in which it is wanted.
    cell_mm
        Distance between the surface's points, roughly.
    """
    points_mm = np.vstack([surface.vertices, surface.corners.mean(axis=1)])
    spacing_px = max(1, int(np.ceil(0.3 * cell_mm * _px_per_mm(surface, camera, shape))))
    return splat(points_mm, camera, shape, grow_px=spacing_px), spacing_px


def _px_per_mm(surface: TriangleMesh, camera: Camera, shape: tuple[int, ...]) -> float:
    focal_px = camera.lens.focal_px * shape[1] / camera.lens.width_px
    return float(focal_px / np.linalg.norm(camera.centre_mm() - surface.vertices.mean(axis=0)))


def _known_by_stereo(
    colour: Bytes,
    camera: Camera,
    wide: Sequence[DepthMap],
    fine: Sequence[DepthMap],
    volume: CaptureVolume,
    scale: float,
) -> tuple[Bools, Bools]:
    """Return the pixels that surely show the body and the room, by this photo's depths."""
    far, near = _own_points(wide, camera), _own_points(fine, camera)
    # Of a body that stands on the floor only what lies below its bottom is the floor.
    floor_mm = min(scale * _FLOOR_MM, volume.bottom_mm + scale * BELOW_MM)
    is_room = ~inside_volume(volume, far) | (far[:, 2] < floor_mm)
    room = splat(far[is_room], camera, colour.shape, grow_px=1)
    room |= ~_column_px(colour, camera, volume)
    is_body = inside_volume(volume, near) & (near[:, 2] > floor_mm)
    body = splat(near[is_body], camera, colour.shape, grow_px=1)
    return shrunk(body, _SURE_PX), room


def _own_points(maps: Sequence[DepthMap], camera: Camera) -> Floats:
    centre = camera.centre_mm()
    own = [one.points_mm() for one in maps if np.linalg.norm(one.centre_mm() - centre) < 1e-3]
    return np.vstack([np.zeros((0, 3)), *own])


def _column_px(colour: Bytes, camera: Camera, volume: CaptureVolume) -> Bools:
    """(h, w) bool: pixels whose rays meet the column."""
    height, width = colour.shape[:2]
    column = column_points(volume)
    seen = camera.project(column[seen_by(camera, column)])
    mask = np.zeros((height, width), dtype=np.uint8)
    if len(seen) >= 3:
        factor = np.array([width / camera.lens.width_px, height / camera.lens.height_px])
        hull = cv2.convexHull(((seen + 0.5) * factor - 0.5).astype(np.float32))
        cv2.fillConvexPoly(mask, np.rint(hull).astype(np.int32), 1)
    return np.asarray(mask, dtype=np.bool_)


def _known_by_hull(
    colour: Bytes,
    camera: Camera,
    surface: TriangleMesh,
    volume: CaptureVolume,
    scale: float,
    doubt_mm: float,
) -> tuple[Bools, Bools]:
    """Return the pixels well inside and well outside the hull seen by this camera."""
    shape = colour.shape[:2]
    shown, spacing_px = shown_px(surface, camera, shape, cell_mm=scale * _CELL_MM)
    filled = shrunk(_filled(shown), spacing_px)
    doubt_px = max(2, round(doubt_mm * _px_per_mm(surface, camera, shape)))
    below = surface.vertices[surface.vertices[:, 2] < volume.bottom_mm]
    # What goes on below the bottom, a stand or legs, is neither.
    open_end = splat(below, camera, shape, grow_px=max(doubt_px, spacing_px))
    room = ~shrunk(filled, -doubt_px) & ~open_end
    return shrunk(filled, doubt_px), room


def _filled(mask: Bools) -> Bools:
    """Return a mask with what its outer outlines enclose; gaps are left to the next outline."""
    outlines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    full = np.zeros(mask.shape, dtype=np.uint8)
    cv2.drawContours(full, outlines, -1, 1, cv2.FILLED)
    return np.asarray(full, dtype=np.bool_)


def shrunk(mask: Bools, by_px: int) -> Bools:
    """(h, w) bool: a mask shrunk by some pixels, or grown where they are negative."""
    size = 2 * abs(by_px) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    change = cv2.erode if by_px > 0 else cv2.dilate
    return np.asarray(change(mask.astype(np.uint8), disc), dtype=np.bool_)
