"""Photos that show their sheets and still do harm: blurred, badly exposed, taken twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.sheet_view import SheetView, brightest_grey, burnt_share
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats

__all__ = ["poor_photos"]

# Edges this much wider than usual cost nearly half of what a photo can measure. (What is
# measured falls short of the truth where a tag is small: 1.7 measured is about twice.)
_BLUR_OF_USUAL, _LEAST_BLUR_PX = 1.7, 1.2
# Above this part burnt out, and this much more than usual, the body is burnt out too.
_BURNT, _BURNT_MORE = 0.4, 0.25
# Below this part of the usual brightest grey the shadows are black.
_DARK_OF_USUAL, _DARK_GREY = 0.45, 110.0
# Two photos whose tags lie this near each other, as parts of the long side, are one view.
_DOUBLE_MEDIAN, _DOUBLE_MOST = 0.003, 0.006
_FEWEST_TO_COMPARE = 4


def poor_photos(
    photos: Sequence[Photo], views: Sequence[SheetView]
) -> tuple[frozenset[int], tuple[Finding, ...]]:
    """Return which photos to leave out although their sheets can be read, and why.

    What is usual is the median of the set, so that at most half of it can be poor; a set of
    fewer than four is taken as it is.

    Parameters
    ----------
    photos
        All photos.
    views
        The sheets measured in them, with ``SheetView.photo`` the index into ``photos``.
    """
    of_photo: dict[int, list[SheetView]] = {}
    for view in views:
        of_photo.setdefault(view.photo, []).append(view)
    if len(of_photo) < _FEWEST_TO_COMPARE:
        return frozenset(), ()
    indices = sorted(of_photo)
    # Small and steeply seen tags leave no room to see how wide a blurred edge is.
    blur = {
        k: float(np.percentile([view.edges.blur_px for view in of_photo[k]], 75)) for k in indices
    }
    burnt = {k: burnt_share(photos[k]) for k in indices}
    bright = {k: brightest_grey(photos[k]) for k in indices}
    blur_limit = max(_BLUR_OF_USUAL * float(np.median(list(blur.values()))), _LEAST_BLUR_PX)
    burnt_limit = max(_BURNT, float(np.median(list(burnt.values()))) + _BURNT_MORE)
    dark_limit = min(_DARK_GREY, _DARK_OF_USUAL * float(np.median(list(bright.values()))))
    findings = []
    for k in indices:
        if blur[k] > blur_limit:
            findings.append(_blurred(photos[k].name, blur[k], blur_limit))
        elif burnt[k] > burnt_limit:
            findings.append(_burnt(photos[k].name, burnt[k], burnt_limit))
        elif bright[k] < dark_limit:
            findings.append(_dark(photos[k].name, bright[k], dark_limit))
    named = {finding.where for finding in findings}
    poor = {k for k in indices if photos[k].name in named}
    good = sorted((k for k in indices if k not in poor), key=lambda k: (blur[k], k))
    corners = {k: _corners(of_photo[k]) for k in good}
    kept: list[int] = []
    for k in good:
        twin = next((j for j in kept if _same_view(photos, corners, j, k)), None)
        if twin is None:
            kept.append(k)
            continue
        poor.add(k)
        findings.append(
            Finding(
                "photo-double",
                Severity.NOTE,
                photos[k].name,
                f"{photos[k].name} was left out: it is the same view as {photos[twin].name}, "
                "which is at least as sharp.",
            )
        )
    return frozenset(poor), tuple(findings)


def _corners(views: Sequence[SheetView]) -> dict[int, Floats]:
    return {view.sheet.tag_id: view.edges.corners_px for view in views}


def _same_view(
    photos: Sequence[Photo], corners: dict[int, dict[int, Floats]], first: int, second: int
) -> bool:
    if photos[first].grey.shape != photos[second].grey.shape:
        return False
    a, b = corners[first], corners[second]
    common = a.keys() & b.keys()
    # A tag at the rim may be lost in one of two shots from the same place.
    if len(common) < 0.7 * max(len(a), len(b)):
        return False
    shifts = np.concatenate([np.linalg.norm(a[tag] - b[tag], axis=1) for tag in sorted(common)])
    shifts /= max(photos[first].grey.shape)
    return bool(np.median(shifts) < _DOUBLE_MEDIAN and shifts.max() < _DOUBLE_MOST)


def _blurred(name: str, blur_px: float, limit_px: float) -> Finding:
    return Finding(
        "photo-blurred",
        Severity.WARNING,
        name,
        f"{name} was left out: its edges are {blur_px:.1f} px wide, in the others "
        f"{limit_px / _BLUR_OF_USUAL:.1f} px are usual.",
        "Take it again with more light and a still hand.",
        number=round(blur_px, 2),
        limit=round(limit_px, 2),
        unit="px",
    )


def _burnt(name: str, share: float, limit: float) -> Finding:
    return Finding(
        "photo-overexposed",
        Severity.WARNING,
        name,
        f"{name} was left out: {share:.0%} of it is burnt out white, far more than in the others.",
        "Take it again with less exposure.",
        number=round(share, 3),
        limit=round(limit, 3),
    )


def _dark(name: str, brightest: float, limit: float) -> Finding:
    return Finding(
        "photo-dark",
        Severity.WARNING,
        name,
        f"{name} was left out: its brightest parts reach {brightest:.0f} of 255, far less than "
        "in the others.",
        "Take it again with more light.",
        number=round(brightest, 1),
        limit=round(limit, 1),
        unit="grey levels",
    )
