"""What was found on the table, and the old outline under the new one with the difference in mm."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from fitkit.geometry.arrays import Bytes, Floats
from fitkit.trace.table_picture import TablePicture
from fitkit.trace.trace_pieces import TracedPiece

__all__ = ["png_of_correction", "png_of_trace"]

_FOUND = "#d4007f"
_OLD, _MORE, _LESS, _SAME = "#777777", "#0b6fa4", "#c4500a", "#222222"
_MOST_PX = 1400
# Moves smaller than this are drawn as none.
_MOVED_MM = 0.5
# Numbers stand at least this far apart along the outline, as a part of its length.
_APART = 0.06
_ROOM_MM = 40.0


def png_of_trace(
    picture: TablePicture, pieces: Sequence[TracedPiece], names: Sequence[str]
) -> bytes:
    """Return the table from straight above with each piece's outline, holes and lines over it.

    Parameters
    ----------
    picture
        The redrawn photo.
    pieces, names
        The pieces and what to write on each.
    """
    shown = _rgb(picture)
    rows, columns = shown.shape[:2]
    x0, y1 = picture.corner_mm
    step = picture.pixel_mm
    whole = (
        x0 - step / 2,
        x0 + (columns - 0.5) * step,
        y1 - (rows - 0.5) * step,
        y1 + step / 2,
    )
    extent = _around(picture, pieces, whole)
    longest = max(extent[1] - extent[0], extent[3] - extent[2])
    figure, axes = _sheet(extent, min(_MOST_PX / longest, 1.0 / step))
    axes.imshow(shown, extent=whole, interpolation="bilinear")
    axes.set_xlim(extent[0], extent[1])
    axes.set_ylim(extent[2], extent[3])
    for piece, name in zip(pieces, names, strict=True):
        _ring(axes, piece.outline_mm, color=_FOUND, linewidth=1.4)
        for opening in piece.openings_mm:
            _ring(axes, opening, color=_FOUND, linewidth=1.2)
        for hole in piece.round_holes:
            angle = np.linspace(0.0, 2 * np.pi, 49)[:-1]
            circle = np.array(hole.centre_mm) + hole.diameter_mm / 2 * np.column_stack(
                [np.cos(angle), np.sin(angle)]
            )
            _ring(axes, circle, color=_FOUND, linewidth=1.2)
        for line in piece.pencil_mm:
            axes.plot(*line.T, color=_MORE, linewidth=1.2)
        at = shapely.Polygon(piece.outline_mm).buffer(0).representative_point()
        axes.text(
            at.x,
            at.y,
            name,
            ha="center",
            va="center",
            fontsize=15,
            color=_SAME,
            bbox={"facecolor": "white", "edgecolor": _FOUND, "boxstyle": "round,pad=0.3"},
        )
    return _png(figure)


def png_of_correction(old_mm: Floats, new_mm: Floats, title: str) -> bytes:
    """Return the part's old cut line, grey and dashed, under the traced one.

    Blue where the piece reaches further out than the part did, orange where it was trimmed; each
    stretch that moved carries its largest move in millimetres.

    Parameters
    ----------
    old_mm, new_mm
        Closed outlines in the part's own place, (N, 2) and (M, 2) float mm.
    """
    both = np.concatenate([old_mm, new_mm])
    low, high = both.min(axis=0), both.max(axis=0)
    rim = 0.09 * float(max(high - low))
    extent = (low[0] - rim, high[0] + rim, low[1] - rim, high[1] + 2.0 * rim)
    figure, axes = _sheet(extent, 1000.0 / (extent[3] - extent[2]))
    own = shapely.LinearRing(old_mm)
    area = shapely.Polygon(old_mm).buffer(0)
    ring = shapely.segmentize(shapely.LinearRing(new_mm), 1.0)
    points = shapely.get_coordinates(ring)[:-1]
    off = np.asarray(shapely.distance(own, shapely.points(points)))
    off = np.where(shapely.contains(area, shapely.points(points)), -off, off)
    axes.fill(*new_mm.T, color="#f3f3f0")
    _ring(axes, old_mm, color=_OLD, linewidth=1.6, linestyle=(0, (5, 3)))
    following = np.roll(points, -1, axis=0)
    for colour, rows in (
        (_SAME, np.abs(off) < _MOVED_MM),
        (_MORE, off >= _MOVED_MM),
        (_LESS, off <= -_MOVED_MM),
    ):
        segments = np.stack([points[rows], following[rows]], axis=1)
        for segment in segments:
            axes.plot(*segment.T, color=colour, linewidth=2.6, solid_capstyle="round")
    for n in _tops(off):
        outward = _outward(points, n)
        at = points[n] + outward * 0.45 * rim
        axes.text(
            *at,
            f"{off[n]:+.1f}",
            ha="center",
            va="center",
            fontsize=17,
            color=_MORE if off[n] > 0 else _LESS,
        )
    middle = 0.5 * (extent[0] + extent[1])
    axes.text(middle, extent[3] - 0.5 * rim, title, ha="center", va="center", fontsize=19)
    axes.text(
        middle,
        extent[3] - 1.05 * rim,
        "dashed: as printed   solid: as traced   numbers: mm outwards",
        ha="center",
        va="center",
        fontsize=13,
        color=_OLD,
    )
    return _png(figure)


def _around(
    picture: TablePicture,
    pieces: Sequence[TracedPiece],
    whole: tuple[float, float, float, float],
) -> tuple[float, float, float, float]:
    """Return what of the table to show: pieces and sheets with some room round them."""
    rows, columns = np.nonzero(picture.paper & picture.seen)
    places = [piece.outline_mm for piece in pieces]
    if len(rows):
        ends = np.array([[columns.min(), rows.max()], [columns.max(), rows.min()]])
        places.append(picture.to_mm(ends.astype(np.float64)))
    low = np.min([points.min(axis=0) for points in places], axis=0) - _ROOM_MM
    high = np.max([points.max(axis=0) for points in places], axis=0) + _ROOM_MM
    return (
        max(float(low[0]), whole[0]),
        min(float(high[0]), whole[1]),
        max(float(low[1]), whole[2]),
        min(float(high[1]), whole[3]),
    )


def _tops(off: Floats) -> list[int]:
    """Return where to write numbers: the largest move of each stretch, none crowding another."""
    apart = max(1, int(_APART * len(off)))
    chosen: list[int] = []
    for n in np.argsort(-np.abs(off)):
        if abs(off[n]) < _MOVED_MM:
            break
        gaps = [min(abs(int(n) - m), len(off) - abs(int(n) - m)) for m in chosen]
        if all(gap > apart for gap in gaps):
            chosen.append(int(n))
    return chosen


def _outward(points: Floats, n: int) -> Floats:
    ahead = points[(n + 3) % len(points)] - points[n - 3]
    ahead = ahead / max(float(np.linalg.norm(ahead)), 1e-9)
    return np.array([ahead[1], -ahead[0]])


def _rgb(picture: TablePicture) -> Bytes:
    import cv2

    lab = picture.lab
    if lab.shape[2] == 1:
        lab = np.concatenate([lab, np.zeros((*lab.shape[:2], 2), dtype=np.float32)], axis=2)
    rgb = np.asarray(cv2.cvtColor(np.ascontiguousarray(lab), cv2.COLOR_LAB2RGB))
    shown: Bytes = np.clip(255.0 * rgb + 0.5, 0, 255).astype(np.uint8)
    # What the photo does not show finely enough is greyed out.
    shown[~picture.seen] = (shown[~picture.seen] // 4 + 190).astype(np.uint8)
    return shown


def _sheet(extent: tuple[float, float, float, float], px_per_mm: float) -> tuple[Any, Any]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    wide, high = extent[1] - extent[0], extent[3] - extent[2]
    # At 72 px an inch one point is one pixel.
    figure = Figure(
        figsize=(wide * px_per_mm / 72.0, high * px_per_mm / 72.0), dpi=72, facecolor="white"
    )
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(extent[0], extent[1])
    axes.set_ylim(extent[2], extent[3])
    axes.set_aspect("equal")
    return figure, axes


def _ring(axes: Any, points: Floats, **style: Any) -> None:
    axes.plot(*np.concatenate([points, points[:1]]).T, **style)


def _png(figure: Any) -> bytes:
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
