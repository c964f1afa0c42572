"""Photos of a piece of card on a table, rendered once for all tests of a session."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import shapely

from fitkit.capture.marker_sheet import marker_sheet
from fitkit.geometry.arrays import Floats
from fitkit.trace.trace_pieces import TablePhoto
from tests.truth.flat_table import (
    CardPiece,
    TableScene,
    camera_over,
    photo_of,
    render_table,
    table_lens,
)
from tests.truth.studio import PlacedSheet

__all__ = ["DARK_TABLE", "PALE_CARD", "PALE_TABLE", "PIECE", "SHEETS", "off_outline_mm", "shot"]

DARK_TABLE = (0.20, 0.22, 0.25)
PALE_TABLE = (0.55, 0.53, 0.48)
BROWN_CARD = (0.42, 0.33, 0.22)
PALE_CARD = (0.68, 0.65, 0.58)

SHEETS = tuple(
    PlacedSheet.on_floor(marker_sheet("A4", n + 1), x_mm=x, y_mm=y, turn_rad=turn)
    for n, (x, y, turn) in enumerate(((-240.0, 0.0, 0.05), (245.0, 10.0, -0.1)))
)


def _outline() -> Floats:
    """Return an outline about as large as an A4 page: bulges, hollows and two corners."""
    angle = np.linspace(0.0, 2 * np.pi, 360, endpoint=False)
    reach = 1 + 0.12 * np.cos(3 * angle) + 0.05 * np.sin(5 * angle)
    round_ = np.column_stack([95 * reach * np.cos(angle), 130 * reach * np.sin(angle)])
    cut = shapely.Polygon(round_) & shapely.box(-200.0, -100.0, 200.0, 200.0)
    return np.asarray(shapely.get_coordinates(shapely.orient_polygons(cut).exterior))[:-1]


def _ring(x: float, y: float, radius: float) -> Floats:
    angle = np.linspace(0.0, -2 * np.pi, 64, endpoint=False)
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])


PIECE = CardPiece(
    _outline(),
    (_ring(30.0, 40.0, 8.0), _ring(-40.0, 60.0, 2.5)),
    (np.array([[-60.0, -20.0], [50.0, -10.0]]),),
)


@dataclass(frozen=True, slots=True)
class _Shot:
    tilt_deg: float
    bearing_deg: float
    thickness_mm: float
    floor: tuple[float, float, float]
    card: tuple[float, float, float]
    grain: float


@cache
def shot(
    tilt_deg: float,
    bearing_deg: float = -90.0,
    *,
    thickness_mm: float = 0.5,
    floor: tuple[float, float, float] = DARK_TABLE,
    card: tuple[float, float, float] = BROWN_CARD,
    grain: float = 0.06,
    pieces: tuple[CardPiece, ...] | None = None,
) -> TablePhoto:
    """Return a photo of 1600 x 1200 px from 0.65 m."""
    from dataclasses import replace

    laid = pieces or (replace(PIECE, colour=card, thickness_mm=thickness_mm),)
    camera = camera_over(
        f"table_{tilt_deg:g}_{bearing_deg:g}.jpg",
        tilt_deg=tilt_deg,
        bearing_deg=bearing_deg,
        distance_mm=650.0,
        lens=table_lens(1600, 1200),
    )
    rgb = render_table(TableScene(laid, SHEETS, floor=floor, grain=grain), camera)
    return TablePhoto(photo_of(rgb, camera), rgb)


def off_outline_mm(got_mm: Floats, want_mm: Floats) -> Floats:
    """(N,) mm: how far each point lies outside the true outline after rigid alignment only."""
    ring = shapely.LinearRing(want_mm)
    points = np.array(got_mm)
    # The sheets lie nearly upright on the table: a nearest-point fit needs no start.
    for _ in range(60):
        along = shapely.line_locate_point(ring, shapely.points(points))
        nearest = shapely.get_coordinates(shapely.line_interpolate_point(ring, along))
        a, b = nearest - nearest.mean(axis=0), points - points.mean(axis=0)
        u, _, vt = np.linalg.svd(b.T @ a)
        points = b @ (u @ vt) + nearest.mean(axis=0)
    off = shapely.distance(ring, shapely.points(points))
    inside = shapely.contains(shapely.Polygon(want_mm), shapely.points(points))
    return np.where(inside, -off, off)
