"""Part numbers read off the tags printed on pieces."""

from __future__ import annotations

import cv2
import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.template.part_tag import PART_TAG_SIDE_MM, part_of_tag
from fitkit.trace.table_picture import TablePicture

__all__ = ["part_tags"]

# A tag is looked for at about so many pixels a side.
_SIDE_PX = 64.0
_MOST_GROWTH = 3.0
_SIZE_SLACK = 0.2


def part_tags(picture: TablePicture) -> list[tuple[int, Floats]]:
    """Return the part numbers on the pieces of a table, each with its place (2,) mm."""
    grey = np.clip(2.55 * picture.lab[:, :, 0], 0, 255).astype(np.uint8)
    growth = float(np.clip(_SIDE_PX * picture.pixel_mm / PART_TAG_SIDE_MM, 1.0, _MOST_GROWTH))
    large = cv2.resize(grey, None, fx=growth, fy=growth, interpolation=cv2.INTER_CUBIC)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(large)
    found = []
    for one, tag in zip(corners, [] if ids is None else ids.ravel(), strict=True):
        number = part_of_tag(int(tag))
        # Resizing keeps the picture's edges, not its pixels' centres, in place.
        places = picture.to_mm((one.reshape(4, 2) + 0.5) / growth - 0.5)
        side = float(np.linalg.norm(places - np.roll(places, 1, axis=0), axis=1).mean())
        if number is not None and abs(side / PART_TAG_SIDE_MM - 1.0) < _SIZE_SLACK:
            found.append((number, places.mean(axis=0)))
    return found
