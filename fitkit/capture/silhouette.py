"""Which pixels show the body, told by colour: what stereo knows of body and room is the sample.

Depth maps name pixels that surely show the body and pixels that surely show the room; what the
rays beside the capture volume meet is room as well. Colours of both are learned photo by photo and
the rest is divided where the colours say so, along edges (a minimal cut).
"""

from __future__ import annotations

import cv2
import numpy as np

from fitkit.capture.camera import Camera
from fitkit.geometry.arrays import Bools, Bytes, Floats

__all__ = ["reduced_colour", "silhouette", "splat"]

_LONGEST_PX = 504
_ROUNDS = 2
_FEWEST = 60
_ASIDE_PX = 30


def reduced_colour(picture: Bytes, longest_px: int = _LONGEST_PX) -> Bytes:
    """Return (h, w, 3) uint8 of at most ``longest_px``, a grey picture in three equal channels."""
    if picture.ndim == 2:
        picture = np.repeat(picture[:, :, None], 3, axis=2)
    factor = longest_px / max(picture.shape)
    if factor >= 1.0:
        return np.ascontiguousarray(picture)
    smaller = cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(smaller, dtype=np.uint8)


def splat(points_mm: Floats, camera: Camera, shape: tuple[int, ...], *, grow_px: int) -> Bools:
    """(h, w) bool: the pixels that world points fall on, grown by some."""
    height, width = shape[:2]
    hit = np.zeros((height, width), dtype=np.uint8)
    ahead = points_mm[camera.camera_from_world.apply(points_mm)[:, 2] > 1.0]
    if len(ahead):
        factor = np.array([width / camera.lens.width_px, height / camera.lens.height_px])
        column, row = np.rint((camera.project(ahead) + 0.5) * factor - 0.5).astype(np.int64).T
        inside = (column >= 0) & (row >= 0) & (column < width) & (row < height)
        hit[row[inside], column[inside]] = 1
    if grow_px > 0:
        square = np.ones((2 * grow_px + 1, 2 * grow_px + 1), np.uint8)
        hit = np.asarray(cv2.dilate(hit, square), dtype=np.uint8)
    return np.asarray(hit, dtype=np.bool_)


def silhouette(colour: Bytes, *, body: Bools, room: Bools) -> Bools | None:
    """(h, w) bool: which pixels show the body; None when too little is known to tell.

    Parameters
    ----------
    colour
        (h, w, 3) uint8.
    body, room
        (h, w) bool: what is known; where both say so, it is not.

    References
    ----------
    C. Rother, V. Kolmogorov, A. Blake, *GrabCut*, ACM Transactions on Graphics 23(3), 2004,
    doi:10.1145/1015706.1015720.
    """
    sure_body, sure_room = body & ~room, room & ~body
    if min(sure_body.sum(), sure_room.sum()) < _FEWEST:
        return None
    mask = np.full(colour.shape[:2], cv2.GC_PR_BGD, dtype=np.uint8)
    mask[sure_body] = cv2.GC_FGD
    mask[sure_room] = cv2.GC_BGD
    # Room far from what is in doubt says little about it, and costs time.
    part = _box(~sure_room, _ASIDE_PX)
    lab = cv2.cvtColor(np.ascontiguousarray(colour[part]), cv2.COLOR_RGB2Lab)
    cut = np.ascontiguousarray(mask[part])
    cv2.setRNGSeed(1)
    room_model, body_model = np.zeros((1, 65)), np.zeros((1, 65))
    whole = (0, 0, cut.shape[1], cut.shape[0])  # not looked at with a mask
    found, _, _ = cv2.grabCut(
        lab, cut, whole, room_model, body_model, _ROUNDS, cv2.GC_INIT_WITH_MASK
    )
    mask[part] = found
    return np.asarray((mask == cv2.GC_FGD) | (mask == cv2.GC_PR_FGD), dtype=np.bool_)


def _box(mask: Bools, margin_px: int) -> tuple[slice, slice]:
    """Return the rows and columns in which a mask holds, and some more."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(int(rows[0]) - margin_px, 0), int(rows[-1]) + margin_px + 1),
        slice(max(int(columns[0]) - margin_px, 0), int(columns[-1]) + margin_px + 1),
    )
