"""Which parts of the table are pieces: whatever does not look like the table itself."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitkit.errors import PhotoError
from fitkit.geometry.arrays import Bools, Floats
from fitkit.trace.table_picture import TablePicture

__all__ = ["piece_areas"]

# The table is learned beside the sheets and along the picture's rim.
_BESIDE_MM = (4.0, 22.0)
_WORK_PIXEL_MM = 1.4
# Something smaller is a crumb.
_LEAST_AREA_MM2 = 400.0
_LEAST_WIDTH_MM = 4.0
# Times the table's own spread.
_UNLIKE = 4.5
_ROUNDS = 6


def piece_areas(picture: TablePicture) -> list[Bools]:
    """Return one (H, W) mask a piece, largest first, its holes left open.

    The table's colour is taken to vary smoothly over it, as light does, and to spread as it does
    beside the sheets; what lies outside that spread is sorted by a mixture model of both
    (GrabCut) and cleaned.

    Raises
    ------
    PhotoError
        When too little of the bare table shows, or nothing lies on it.

    References
    ----------
    C. Rother, V. Kolmogorov, A. Blake, "GrabCut", ACM Transactions on Graphics 23, 2004,
    pp. 309-314, doi:10.1145/1015706.1015720.
    """
    shrink = min(1.0, picture.pixel_mm / _WORK_PIXEL_MM)
    rows, columns = picture.seen.shape
    size = (max(1, round(columns * shrink)), max(1, round(rows * shrink)))
    small = cv2.resize(picture.lab, size, interpolation=cv2.INTER_AREA)
    lab = np.asarray(small, dtype=np.float32).reshape(size[1], size[0], -1)
    seen = _smaller(picture.seen, size, 0.999)
    paper = _smaller(picture.paper, size, 0.001)
    pixel_mm = picture.pixel_mm * columns / size[0]
    table = _table_places(seen, paper, pixel_mm)
    if table.sum() * pixel_mm**2 < 2000.0:
        raise PhotoError(
            "Too little of the bare table shows beside the marker sheets.",
            "Leave a hand's width of plain table free round the piece and the sheets.",
        )
    flat, spread = _without_shading(lab, seen & ~paper, table)
    unlike = np.sqrt(np.sum((flat / spread) ** 2, axis=2))
    free = seen & ~paper
    rough = free & (unlike > _UNLIKE)
    rough = _opened(rough, _LEAST_WIDTH_MM / 2 / pixel_mm)
    sorted_ = _grab_cut(flat, spread, rough, free, table)
    clean = _opened(sorted_, _LEAST_WIDTH_MM / 2 / pixel_mm)
    found = []
    # What the photo cuts off is no whole piece, but may be a sheet whose tag does not show.
    cut_off = cv2.dilate((~seen).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    cut_off[[0, 1, -2, -1]] = True
    cut_off[:, [0, 1, -2, -1]] = True
    partly = False
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        clean.astype(np.uint8), connectivity=4
    )
    for label in np.argsort(-stats[1:count, cv2.CC_STAT_AREA]) + 1:
        if stats[label, cv2.CC_STAT_AREA] * pixel_mm**2 < _LEAST_AREA_MM2:
            break
        own = labels == label
        if (own & cut_off).any():
            partly = True
            continue
        large = cv2.resize(own.astype(np.float32), (columns, rows), interpolation=cv2.INTER_LINEAR)
        found.append(large > 0.5)
    if not found and partly:
        raise PhotoError(
            "The piece reaches beyond the photo.",
            "Take the photo from further away, so that the whole piece and a sheet show.",
        )
    if not found:
        raise PhotoError(
            "No piece can be told from the table in the photo.",
            "Lay the piece on something of a clearly different colour, in even light.",
        )
    return found


def _smaller(mask: Bools, size: tuple[int, int], least: float) -> Bools:
    share = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    kept: Bools = share >= least
    return kept


def _table_places(seen: Bools, paper: Bools, pixel_mm: float) -> Bools:
    """Return where the bare table is to be expected: round the sheets, and at the rim."""
    away = cv2.distanceTransform((~paper).astype(np.uint8), cv2.DIST_L2, 5) * pixel_mm
    inner = (
        cv2.distanceTransform(np.pad(seen, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
        * pixel_mm
    )
    beside = (away >= _BESIDE_MM[0]) & (away <= _BESIDE_MM[1])
    rim = (inner >= 1.0) & (inner <= 25.0)
    places: Bools = seen & ~paper & (beside | rim)
    return places


def _without_shading(lab: NDArray[np.float32], free: Bools, table: Bools) -> tuple[Floats, Floats]:
    """Return each pixel's difference from the table under it, and the table's own spread.

    The table's colour is a parabola over its places, fitted to most of the table places: those
    that a piece covers drop out.
    """
    rows, columns = free.shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    places = np.flatnonzero(table.ravel())
    step = max(1, len(places) // 40_000)
    places = places[::step]
    a = terms.reshape(-1, 6)[places]
    seen = lab.reshape(-1, lab.shape[2])[places].astype(np.float64)
    keep = np.ones(len(places), dtype=np.bool_)
    for _ in range(_ROUNDS):
        fitted, *_ = np.linalg.lstsq(a[keep], seen[keep], rcond=None)
        off = seen - a @ fitted
        spread = 1.4826 * np.median(np.abs(off[keep] - np.median(off[keep], axis=0)), axis=0)
        spread = np.maximum(spread, 0.4)
        distance = np.sqrt(np.mean((off / spread) ** 2, axis=1))
        keep = distance < 2.5
    flat = lab - (terms.reshape(-1, 6) @ fitted).reshape(rows, columns, -1)
    return np.asarray(flat, dtype=np.float64), np.asarray(spread, dtype=np.float64)


def _grab_cut(flat: Floats, spread: Floats, rough: Bools, free: Bools, table: Bools) -> Bools:
    if not rough.any() or rough.sum() > 0.98 * free.sum():
        return rough
    scaled = np.clip(128.0 + 10.0 * flat / spread, 0, 255).astype(np.uint8)
    if scaled.shape[2] == 1:
        scaled = np.repeat(scaled, 3, axis=2)
    core = cv2.erode(rough.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    far = cv2.dilate(rough.astype(np.uint8), np.ones((9, 9), np.uint8)) == 0
    marks = np.full(free.shape, cv2.GC_PR_BGD, dtype=np.uint8)
    marks[rough] = cv2.GC_PR_FGD
    marks[core] = cv2.GC_FGD
    marks[far & table] = cv2.GC_BGD
    marks[~free] = cv2.GC_BGD
    background, foreground = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(0)
    whole = (0, 0, scaled.shape[1], scaled.shape[0])
    cv2.grabCut(scaled, marks, whole, background, foreground, 3, cv2.GC_INIT_WITH_MASK)
    sorted_: Bools = (marks == cv2.GC_FGD) | (marks == cv2.GC_PR_FGD)
    return sorted_


def _opened(mask: Bools, radius_px: float) -> Bools:
    reach = max(1, round(radius_px))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    opened: Bools = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, disc) > 0
    return opened
