"""Sheets that lie in view of photos and yet were read in few of them: folded, bent or in shine."""

from __future__ import annotations

import numpy as np

from fitkit.capture.capture_volume import seen_by
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.findings import Finding, Severity

__all__ = ["unread_sheets"]

# Seen no more slantingly and no smaller than this, a flat tag is read wherever it shows.
_STEEPEST_RAD, _LEAST_SIDE_PX = np.deg2rad(70.0), 40.0
_FEWEST_PHOTOS = 5
# The body hides a sheet behind it from some photos, seldom from more than half.
_READ_SHARE = 0.4


def unread_sheets(solved: SolvedCameras) -> tuple[Finding, ...]:
    """Name the sheets that few of the photos which should show them could be read in.

    Parameters
    ----------
    solved
        With the tags measured in each photo.
    """
    tags_of = {name: set(tags) for name, tags in solved.tags_of_photo}
    findings = []
    for one in solved.sheets:
        photos = _should_show(one, solved)
        read_n = sum(one.tag_id in tags_of.get(name, set()) for name in photos)
        if len(photos) < _FEWEST_PHOTOS or read_n >= _READ_SHARE * len(photos):
            continue
        sheet = one.sheet()
        called = sheet.called if sheet is not None else f"tag {one.tag_id}"
        findings.append(
            Finding(
                "sheet-seldom-read",
                Severity.NOTE,
                f"tag {one.tag_id}",
                f"{len(photos)} photos look at the place of {called}, large and square enough to "
                f"read, but only {read_n} could be read; in the others it did not count.",
                "Unless something stands before it, it is folded, bent or in the shine of a lamp: "
                "lay it flat and dull.",
                float(read_n),
                _READ_SHARE * len(photos),
                "photos",
            )
        )
    return tuple(findings)


def _should_show(one: SolvedSheet, solved: SolvedCameras) -> list[str]:
    """Return the photos whose frame holds the whole tag, large and square enough to read."""
    sheet = one.sheet()
    if sheet is None:
        return []
    corners = one.world_from_sheet.apply(sheet.tag_corners_mm())
    middle = corners.mean(axis=0)
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[1])
    normal /= np.linalg.norm(normal)
    photos = []
    for camera in solved.cameras:
        if not seen_by(camera, corners).all():
            continue
        way = camera.centre_mm() - middle
        # Corners are counted either way round: the printed side faces the cameras.
        cosine = abs(float(way @ normal)) / float(np.linalg.norm(way))
        image = camera.project(corners)
        sides = np.linalg.norm(image - np.roll(image, -1, axis=0), axis=1)
        if cosine > np.cos(_STEEPEST_RAD) and sides.min() > _LEAST_SIDE_PX:
            photos.append(camera.photo)
    return photos
