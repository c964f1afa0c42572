"""The edges between the black and white squares inside a tag.

Whatever makes black seem to grow, tone curve or ink, moves a tag's outer edges outwards
and the edges of its white squares inwards. Seen together the two tell how much black has
grown, which is what gives tags without saddle points a scale.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from fitkit.capture.tag_edges import EdgeStations, half_way
from fitkit.capture.tag_set import PrintedTag, TagSet
from fitkit.capture.tone_curve import LightImage
from fitkit.geometry.arrays import Bools, Floats

__all__ = ["tag_cells", "with_cell_edges"]

# A square must be this many pixels wide for its two edges not to blur into one.
_SMALLEST_CELL_PX = 4.5
_REACH = 0.5
_STEP_PX = 0.25
_CLEAR = 0.3
_LARGEST_REACH_PX = 4.0
_MOST_OFF_PX = 1.2


@cache
def tag_cells(tags: TagSet, tag_id: int) -> Bools:
    """(N, N) bool, True = white: the squares of a tag from its top-left, rim included."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, tags.opencv_name))
    return np.asarray(
        cv2.aruco.generateImageMarker(dictionary, tag_id, tags.cells_across) > 127, dtype=np.bool_
    )


def with_cell_edges(
    light: LightImage, tags: TagSet, tag: PrintedTag, edges: EdgeStations
) -> EdgeStations:
    """Return the stations with those on the edges of the white squares added.

    A tag whose squares are too small in the photo stays as it is.
    """
    corners = np.array(edges.corners_px)
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    if sides.min() / tag.cells_across < _SMALLEST_CELL_PX:
        return edges
    photo_from_tag = np.asarray(
        cv2.getPerspectiveTransform(
            tag.tag_corners_mm()[:, :2].astype(np.float32), corners.astype(np.float32)
        ),
        dtype=np.float64,
    )
    cell_mm = tag.tag_side_mm / tag.cells_across
    points, pixels, normals = [], [], []
    for start, end, to_white in _boundaries(tag_cells(tags, tag.tag_id), cell_mm):
        found = _station(light, photo_from_tag, start, end, to_white, cell_mm)
        if found is not None:
            points.append([*(0.5 * (start + end)), 0.0])
            pixels.append(found[0])
            normals.append(found[1])
    if not points:
        return edges
    return EdgeStations(
        np.concatenate([edges.points_mm, points]),
        np.concatenate([edges.pixels_px, pixels]),
        np.concatenate([edges.outward, normals]),
        edges.corners_px,
        edges.blur_px,
        np.r_[edges.inside, np.ones(len(points), dtype=np.bool_)],
    )


def _boundaries(cells: Bools, cell_mm: float) -> list[tuple[Floats, Floats, Floats]]:
    """Return start, end (2,) mm and the unit vector from black to white of each straight piece."""
    count = len(cells)
    half = 0.5 * count * cell_mm
    pieces = []
    for upright in (False, True):
        # Turned by a quarter, columns are rows.
        grid = cells.T if upright else cells
        for row in range(count - 1):
            step = grid[row + 1].astype(int) - grid[row].astype(int)
            column = 0
            while column < count:
                first = column
                while column < count and step[column] == step[first]:
                    column += 1
                if step[first] == 0:
                    continue
                along = cell_mm * np.array([first + _CLEAR, column - _CLEAR]) - half
                across = cell_mm * (row + 1) - half
                onwards = float(step[first])
                if upright:
                    ends = np.array([[across, -along[0]], [across, -along[1]]])
                    to_white = np.array([onwards, 0.0])
                else:
                    ends = np.array([[along[0], -across], [along[1], -across]])
                    to_white = np.array([0.0, -onwards])
                pieces.append((ends[0], ends[1], to_white))
    return pieces


def _station(
    light: LightImage,
    photo_from_tag: Floats,
    start: Floats,
    end: Floats,
    to_white: Floats,
    cell_mm: float,
) -> tuple[Floats, Floats] | None:
    """Return where one piece shows, (2,) px, and its unit normal towards the white."""
    middle = 0.5 * (start + end)
    places = np.array([start, end, middle, middle + cell_mm * to_white])
    seen = cv2.perspectiveTransform(places[None].astype(np.float64), photo_from_tag)[0]
    run = seen[1] - seen[0]
    length = float(np.linalg.norm(run))
    normal: Floats = np.array([run[1], -run[0]]) / max(length, 1e-9)
    width = float((seen[3] - seen[2]) @ normal)
    if width < 0:
        normal, width = -normal, -width
    reach = min(_REACH * width, _LARGEST_REACH_PX)
    if width < _SMALLEST_CELL_PX or length < 1.0:
        return None
    count = int(reach / _STEP_PX)
    offsets: Floats = np.arange(-count, count + 1, dtype=np.float64) * _STEP_PX
    parts = np.linspace(0.0, 1.0, max(round(length), 2))[:, None]
    base = seen[0] + parts * run
    at = base[:, None, :] + offsets[None, :, None] * normal
    if (at.min(axis=(0, 1)) < 1).any() or (
        at.max(axis=(0, 1)) > np.array(light.shape[::-1]) - 2
    ).any():
        return None
    values = map_coordinates(
        light, [at[..., 1], at[..., 0]], order=1, output=np.float64, prefilter=False
    )
    shift = float(half_way(values.mean(axis=0)[None], offsets)[0])
    if not abs(shift) < _MOST_OFF_PX:
        return None
    place: Floats = seen[2] + shift * normal
    return place, normal
