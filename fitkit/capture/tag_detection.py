"""Finding the marker sheets in one photo, to a pixel or two."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.tag_set import OUR_SHEETS, AnySheet, TagSet
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bytes, Floats, frozen_floats

__all__ = ["TagSighting", "detect_tags"]

# Below this the cells of a tag are smaller than two pixels and its edges cannot be measured.
_SHORTEST_TAG_SIDE_PX = 16.0


@dataclass(frozen=True, slots=True, eq=False)
class TagSighting:
    """A tag seen in a photo.

    Attributes
    ----------
    sheet
        The sheet it is printed on, or the tag by itself.
    corners_px
        (4, 2) float px: the tag's corners as found, in the order of
        :meth:`MarkerSheet.tag_corners_mm`; a pixel or two off.
    """

    sheet: AnySheet
    corners_px: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "corners_px", frozen_floats(self.corners_px, (4, 2), "corners_px"))


def detect_tags(
    photo: Photo, tags: TagSet = OUR_SHEETS
) -> tuple[tuple[TagSighting, ...], tuple[Finding, ...]]:
    """Return the sheets or tags seen in a photo, by tag id, and what was passed over.

    The photo is searched at half size, which finds blurred tags best, and at full size,
    which finds the steeply seen ones. Corner refinement stays off: what the stock methods
    add is biased by the photo's tone curve (up to 0.5 % of scale in trials).

    References
    ----------
    E. Olson, "AprilTag: A robust and flexible visual fiducial system", ICRA 2011,
    pp. 3400-3407, doi:10.1109/ICRA.2011.5979561 (the tag family).
    S. Garrido-Jurado et al., "Automatic generation and detection of highly reliable fiducial
    markers under occlusion", Pattern Recognition 47, 2014, pp. 2280-2292,
    doi:10.1016/j.patcog.2014.01.005 (the ArUco dictionaries).
    """
    half = np.asarray(
        cv2.resize(photo.grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), dtype=np.uint8
    )
    scale = np.array([photo.width_px / half.shape[1], photo.height_px / half.shape[0]])
    seen = _detect(photo.grey, tags)
    for tag_id, corners in _detect(half, tags):
        # Pixel centres count from 0: half-size pixel 0 covers full-size pixels 0 and 1.
        corners = (corners + 0.5) * scale - 0.5
        if not any(_same_place(corners, other) for i, other in seen if i == tag_id):
            seen.append((tag_id, corners))

    findings: list[Finding] = []
    counts = Counter(tag_id for tag_id, _ in seen)
    sightings: list[TagSighting] = []
    for tag_id, corners in sorted(seen, key=lambda item: item[0]):
        sheet = tags.sheet_of_tag(tag_id)
        sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
        if sheet is None or counts[tag_id] > 1 or sides.min() < _SHORTEST_TAG_SIDE_PX:
            continue
        sightings.append(TagSighting(sheet, corners))
    for tag_id, count in sorted(counts.items()):
        sheet = tags.sheet_of_tag(tag_id)
        if sheet is None:
            findings.append(
                Finding(
                    "tag-unknown",
                    Severity.NOTE,
                    photo.name,
                    f"{photo.name} shows tag {tag_id}, which is on none of the marker sheets; "
                    "it was passed over.",
                )
            )
        elif count > 1:
            findings.append(
                Finding(
                    "tag-twice",
                    Severity.WARNING,
                    photo.name,
                    f"{photo.name} shows {sheet.called} "
                    f"{count} times; it was passed over in this photo.",
                    "Lay out each sheet or tag once only, and keep mirrors out of the photos.",
                    number=float(count),
                    limit=1.0,
                )
            )
    return tuple(sightings), tuple(findings)


def _same_place(corners: Floats, other: Floats) -> bool:
    """Say whether two findings of one id are the same print."""
    size = float(np.linalg.norm(np.ptp(other, axis=0)))
    return float(np.linalg.norm(corners.mean(axis=0) - other.mean(axis=0))) < 0.3 * size


def _detect(grey: Bytes, tags: TagSet) -> list[tuple[int, Floats]]:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    parameters.adaptiveThreshWinSizeMin = 9
    parameters.adaptiveThreshWinSizeMax = 33
    parameters.adaptiveThreshWinSizeStep = 12
    parameters.minMarkerPerimeterRate = 0.02
    # Steeply seen cells are narrow: sample them finely, away from their blurred rims.
    parameters.perspectiveRemovePixelPerCell = 8
    parameters.perspectiveRemoveIgnoredMarginPerCell = 0.2
    # Of a family with few bits, a pattern that is wrong in one of them is no tag.
    parameters.maxErroneousBitsInBorderRate = 0.1 if tags.easily_mistaken else 0.4
    parameters.errorCorrectionRate = 0.0 if tags.easily_mistaken else 0.6
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, tags.opencv_name))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    if ids is None:
        return []
    return [
        (int(tag_id), np.asarray(quad, dtype=np.float64).reshape(4, 2))
        for quad, tag_id in zip(corners, np.ravel(ids), strict=True)
    ]
