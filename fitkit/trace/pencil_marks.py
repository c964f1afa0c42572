"""Pencil lines on a piece: thin, darker than the card, kept as marks."""

from __future__ import annotations

from functools import partial

import cv2
import numpy as np
from skimage.morphology import skeletonize

from fitkit.geometry.arrays import Bools, Floats
from fitkit.trace.table_picture import TablePicture

__all__ = ["pencil_marks"]

# Lines wider than this are no pencil's; shorter ones are specks.
_WIDEST_MM = 2.0
_SHORTEST_MM = 8.0
# Beside the piece's edge and its holes the edge's own shade is no line.
_FROM_EDGE_MM = 2.5
_LEAST_DARKER = 2.5
_TIMES_NOISE = 5.0
_TOLERANCE_MM = 0.25
_STEPS = np.array([(r, c) for r in (-1, 0, 1) for c in (-1, 0, 1) if r or c])


def pencil_marks(picture: TablePicture, area: Bools) -> tuple[Floats, ...]:
    """Return the lines drawn on a piece, each (N, 2) float mm on the table, longest first.

    Parameters
    ----------
    picture
        The table from above, true for the piece's upper face.
    area
        (H, W) bool: the piece, its holes left open.
    """
    lightness = np.asarray(picture.lab[:, :, 0])
    reach = max(1, round(_WIDEST_MM / picture.pixel_mm))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    darker = cv2.morphologyEx(lightness, cv2.MORPH_CLOSE, disc) - lightness
    depth = cv2.distanceTransform(area.astype(np.uint8), cv2.DIST_L2, 5) * picture.pixel_mm
    inner = depth > _FROM_EDGE_MM
    if not inner.any():
        return ()
    usual = float(np.median(darker[inner]))
    noise = 1.4826 * float(np.median(np.abs(darker[inner] - usual)))
    drawn = inner & (darker > usual + max(_LEAST_DARKER, _TIMES_NOISE * noise))
    bridge = np.ones((3, 3), dtype=np.uint8)
    drawn = cv2.morphologyEx(drawn.astype(np.uint8), cv2.MORPH_CLOSE, bridge) > 0
    thin = skeletonize(drawn)  # type: ignore[no-untyped-call]
    lines = []
    for chain in _chains(np.asarray(thin, dtype=np.bool_)):
        points = picture.to_mm(chain[:, ::-1].astype(np.float64))
        length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
        if length >= _SHORTEST_MM:
            lines.append((length, _thinned(points)))
    return tuple(points for _, points in sorted(lines, key=lambda one: -one[0]))


def _chains(skeleton: Bools) -> list[Floats]:
    """Return the skeleton's lines as (N, 2) rows and columns, split where three or more meet."""
    left = {(int(r), int(c)) for r, c in np.argwhere(skeleton)}

    def beside(at: tuple[int, int]) -> list[tuple[int, int]]:
        near = [(at[0] + int(r), at[1] + int(c)) for r, c in _STEPS]
        return [one for one in near if one in left]

    chains = []
    # From loose ends first; what remains are closed rounds.
    ends = sorted(at for at in left if len(beside(at)) == 1)
    for start in [*ends, *sorted(left)]:
        if start not in left:
            continue
        chain = [start]
        left.discard(start)
        ahead = beside(start)
        while ahead:
            # Straight on where lines cross.
            step = max(ahead, key=partial(_along, chain[max(0, len(chain) - 6)], chain[-1]))
            chain.append(step)
            left.discard(step)
            ahead = beside(step)
        if len(chain) > 2:
            chains.append(np.array(chain, dtype=np.float64))
    return chains


def _along(since: tuple[int, int], here: tuple[int, int], at: tuple[int, int]) -> float:
    """Return how much a step from here goes on in the direction walked so far."""
    step, way = np.subtract(at, here), np.subtract(here, since)
    return float(step @ way) / float(np.linalg.norm(step))


def _thinned(points: Floats) -> Floats:
    kept = cv2.approxPolyDP(points.astype(np.float32).reshape(-1, 1, 2), _TOLERANCE_MM, False)
    return np.asarray(kept, dtype=np.float64).reshape(-1, 2)
