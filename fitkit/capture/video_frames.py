"""Which frames of a film to take as photos: sharp ones, spread over the walk."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from fitkit.geometry.arrays import Bytes, Floats

__all__ = ["choose_frames", "frame_signs"]

_SMALL_PX = 240
# A window for each twentieth of the picture's width that the picture moves: on a walk round
# the wearer, who stays in the middle of it, some 11 degrees.
_MOVE_A_FRAME = 1.0 / 20.0
_MOST_MOVED = 0.25


def frame_signs(frame: Bytes, before: Floats | None) -> tuple[float, float, Floats]:
    """Return how sharp a frame is, how far the picture moved since the last, and it small.

    Parameters
    ----------
    frame
        (H, W) uint8.
    before
        The small picture that the call for the last frame returned.

    Returns
    -------
    tuple
        The spread of the finest detail in grey levels, the shift as a part of the
        picture's width, and the small picture for the next call.
    """
    # Detail is judged on the frame as it is: a small picture is always sharp.
    detail = cv2.Laplacian(frame, cv2.CV_32F)
    sharpness = float(detail.std())
    width = min(_SMALL_PX, frame.shape[1])
    size = (width, max(round(frame.shape[0] * width / frame.shape[1]), 2))
    small = np.asarray(cv2.resize(frame, size, interpolation=cv2.INTER_AREA), dtype=np.float64)
    if before is None or before.shape != small.shape:
        return sharpness, 0.0, small
    window = cv2.createHanningWindow(size, cv2.CV_64F)
    (right, down), _ = cv2.phaseCorrelate(before, small, window)
    moved = float(np.hypot(right, down)) / width
    # A cut or a flash says nothing of the hand's way; a quick hand's must not be lost.
    return sharpness, min(moved, _MOST_MOVED), small


def choose_frames(sharpness: Sequence[float], moved: Sequence[float], *, most: int) -> list[int]:
    """Return the frames to take, in order: the sharpest of each stretch of the walk.

    Parameters
    ----------
    sharpness, moved
        For each frame, from :func:`frame_signs`.
    most
        No more than so many.
    """
    if not len(sharpness):
        return []
    way = np.cumsum(np.asarray(moved, dtype=np.float64))
    count = int(np.clip(np.ceil(way[-1] / _MOVE_A_FRAME), 1, most))
    window = np.minimum((way / max(way[-1], 1e-9) * count).astype(np.int64), count - 1)
    sharp = np.asarray(sharpness, dtype=np.float64)
    chosen = []
    for k in range(count):
        frames = np.flatnonzero(window == k)
        if len(frames):
            chosen.append(int(frames[np.argmax(sharp[frames])]))
    return chosen
