"""One marker sheet as one photo shows it, and why a photo shows none."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from fitkit.capture.cell_edges import with_cell_edges
from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.photo import Photo
from fitkit.capture.saddle_points import SeenSaddles, measure_saddles
from fitkit.capture.tag_detection import detect_tags
from fitkit.capture.tag_edges import EdgeStations, measure_tag_edges
from fitkit.capture.tag_set import OUR_SHEETS, AnySheet, TagSet
from fitkit.capture.tone_curve import light_of_grey
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats

__all__ = ["SheetView", "brightest_grey", "burnt_share", "view_sheets"]

_BURNT_GREY = 250
_MOST_BURNT = 0.4
_DARK_GREY = 45
# Spread of the picture's detail at quarter size beyond which tags no longer read.
_MOST_BLUR_QUARTER_PX = 1.6


@dataclass(frozen=True, slots=True, eq=False)
class SheetView:
    """A marker sheet measured in a photo.

    Attributes
    ----------
    photo
        Index of the photo.
    sheet
        The sheet.
    edges
        Stations along the edges of its tag, and of a tag without saddles those inside it.
    saddles
        Those of its saddle points that show.
    """

    photo: int
    sheet: AnySheet
    edges: EdgeStations
    saddles: SeenSaddles

    def points(self) -> tuple[Floats, Floats]:
        """Return tag corners and saddles: (K, 3) float mm, sheet frame, and (K, 2) float px."""
        return (
            np.concatenate(
                [self.sheet.tag_corners_mm(), self.sheet.saddles_mm()[self.saddles.which]]
            ),
            np.concatenate([self.edges.corners_px, self.saddles.pixels_px]),
        )


def view_sheets(
    photo: Photo, index: int, tags: TagSet = OUR_SHEETS
) -> tuple[tuple[SheetView, ...], tuple[Finding, ...]]:
    """Measure all marker sheets in a photo.

    A photo that shows none gets a finding that says why as far as the picture tells.
    """
    sightings, findings = detect_tags(photo, tags)
    light = light_of_grey(photo.grey)
    views = []
    for sighting in sightings:
        edges = measure_tag_edges(light, sighting)
        if edges is None:
            continue
        sheet = sighting.sheet
        if isinstance(sheet, MarkerSheet):
            saddles = measure_saddles(photo.grey, sheet, edges.corners_px)
        else:
            saddles = SeenSaddles(np.zeros(0, dtype=np.int64), np.zeros((0, 2)))
            edges = with_cell_edges(light, tags, sheet, edges)
        views.append(SheetView(index, sheet, edges, saddles))
    if not views:
        findings = (*findings, _why_no_sheet(photo, found=len(sightings)))
    return tuple(views), findings


def burnt_share(photo: Photo) -> float:
    """Return what part of a photo is burnt out white."""
    return float((photo.grey >= _BURNT_GREY).mean())


def brightest_grey(photo: Photo) -> float:
    """Return the grey that one in a hundred of a photo's pixels is brighter than."""
    return float(np.percentile(photo.grey, 99))


def _why_no_sheet(photo: Photo, *, found: int) -> Finding:
    def left_out(
        code: str, reason: str, remedy: str, number: float, limit: float, unit: str
    ) -> Finding:
        return Finding(
            code,
            Severity.WARNING,
            photo.name,
            f"{photo.name} was left out: {reason}.",
            remedy,
            number=round(number, 3),
            limit=limit,
            unit=unit,
        )

    burnt = burnt_share(photo)
    if burnt > _MOST_BURNT:
        return left_out(
            "photo-overexposed",
            f"{burnt:.0%} of it is burnt out white and no marker sheet can be read",
            "Take it again with less exposure.",
            burnt,
            _MOST_BURNT,
            "",
        )
    brightest = brightest_grey(photo)
    if brightest < _DARK_GREY:
        return left_out(
            "photo-dark",
            f"its brightest parts reach {brightest:.0f} of 255 and no marker sheet can be read",
            "Take it again with more light.",
            brightest,
            float(_DARK_GREY),
            "grey levels",
        )
    blur = _blur_quarter_px(photo)
    if blur > _MOST_BLUR_QUARTER_PX:
        return left_out(
            "photo-blurred",
            "it is blurred and no marker sheet can be read",
            "Take it again with more light and a still hand.",
            4.0 * blur,
            4.0 * _MOST_BLUR_QUARTER_PX,
            "px",
        )
    seen = (
        "the marker sheets in it are too small or covered" if found else "it shows no marker sheet"
    )
    return left_out(
        "photo-no-sheet",
        seen,
        "Take photos so that at least two whole marker sheets are in each.",
        0.0,
        1.0,
        "sheets",
    )


def _blur_quarter_px(photo: Photo) -> float:
    """Return the spread of a picture's finest detail in pixels of a quarter-size picture.

    White noise blurred by a Gaussian of deviation s has mean squared slope s^2 / 2 times
    its mean squared Laplacian (from the power spectrum exp(-s^2 k^2)).
    """
    small = cv2.resize(photo.grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    picture = np.asarray(small, dtype=np.float64)
    down, right = np.gradient(picture)
    laplacian = cv2.Laplacian(picture, cv2.CV_64F)
    detail = float((laplacian**2).mean())
    if detail < 0.05:
        return float("inf")
    return float(np.sqrt(2.0 * (down**2 + right**2).mean() / detail))
