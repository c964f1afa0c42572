"""What is left of a sheet once its parts are cut out, as stock for the next job."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import shapely

from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.sheets.nesting import LaidSheet, Nesting
from fitkit.sheets.stock_sheet import StockSheet

__all__ = ["Offcut", "offcuts_of", "offcuts_of_sheet"]

# Snips do not follow smaller steps than this in an offcut's edge.
_SMOOTH_MM = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Offcut:
    """A piece worth keeping: where it is on its sheet, and as stock.

    ``outline_mm`` is (N, 2) float mm in the sheet's coordinates.
    """

    sheet: LaidSheet
    outline_mm: Floats
    stock: StockSheet

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "outline_mm", frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        )


def offcuts_of(nesting: Nesting, least_mm: float) -> tuple[Offcut, ...]:
    """Return every offcut worth keeping, sheet by sheet; see :func:`offcuts_of_sheet`."""
    return tuple(
        offcut
        for sheet in nesting.sheets
        for offcut in offcuts_of_sheet(sheet, nesting.rules.gap_mm, least_mm)
    )


def offcuts_of_sheet(sheet: LaidSheet, gap_mm: float, least_mm: float) -> tuple[Offcut, ...]:
    """Return the pieces of a sheet that are worth keeping, the largest first.

    Parameters
    ----------
    gap_mm
        Kept from the parts.
    least_mm
        A piece is worth keeping where a round of this diameter can be cut from it.

    Notes
    -----
    The end of the sheet beyond its last part is kept whole, cut off straight. Of the rest every
    place counts that a round of the least diameter reaches (morphological opening: Serra, *Image
    Analysis and Mathematical Morphology*, 1982). Outlines lie wholly in what is left. An offcut's
    price is its share of the sheet's.
    """
    stock = sheet.stock
    length, width = stock.size_mm
    taken = shapely.union_all([one.polygon().buffer(gap_mm) for one in sheet.placed])
    free = stock.good_area().difference(taken)
    cut = sheet.used_length_mm + gap_mm if sheet.placed else 0.0
    end = shapely.box(cut, 0.0, length, width).intersection(free)
    between = free.difference(shapely.box(cut - 1e-6, -1.0, length + 1.0, width + 1.0))
    pieces = [*_end(end, least_mm), *_places(between, least_mm)]
    pieces.sort(key=lambda piece: -float(piece.area))
    many = len(pieces) > 1
    return tuple(
        _offcut(sheet, piece, f"offcut{f' {index}' * many}, {sheet.title}")
        for index, piece in enumerate(pieces, start=1)
    )


def _offcut(sheet: LaidSheet, piece: shapely.Polygon, name: str) -> Offcut:
    stock = sheet.stock
    outline = shapely.get_coordinates(piece.exterior)[:-1]
    price = stock.price
    if price is not None:
        price = round(price * float(piece.area) / float(stock.polygon().area), 2)
    zones = tuple(shapely.get_coordinates(ring)[:-1] for ring in piece.interiors)
    own = replace(stock, name=name, outline_mm=outline, quantity=1, bad_zones_mm=zones, price=price)
    return Offcut(sheet, outline, own)


def _end(area: shapely.Geometry, least_mm: float) -> Iterator[shapely.Polygon]:
    for piece in shapely.get_parts(area):
        if piece.geom_type == "Polygon" and not piece.buffer(-0.5 * least_mm).is_empty:
            yield piece


def _places(area: shapely.Geometry, least_mm: float) -> Iterator[shapely.Polygon]:
    cores = area.buffer(-0.5 * least_mm)
    reached = cores.buffer(0.5 * least_mm).intersection(area)
    # Smoothed inwards by as much as smoothing may swing out.
    for piece in shapely.get_parts(reached.buffer(-_SMOOTH_MM).simplify(_SMOOTH_MM)):
        if piece.geom_type == "Polygon" and not piece.is_empty:
            yield piece
