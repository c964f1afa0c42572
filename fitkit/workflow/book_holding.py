"""What the build book tells of straps, pads, soft pieces and fasteners."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitkit.holding.strap import Strap
    from fitkit.job.job_folder import Job
    from fitkit.shop.build_book import BookHolding, HoldingRow

__all__ = ["book_holding"]


def book_holding(job: Job) -> BookHolding | None:
    """Return a row for each and the straps' picture; None for a job that has none of them.

    Raises
    ------
    DesignError
        When a strap or a fastener cannot be laid.
    """
    from fitkit.shop.build_book import BookHolding
    from fitkit.workflow.straps import laid_straps, straps_picture

    straps = laid_straps(job)
    rows = [*_straps(straps), *_pads(job), *_soft_pieces(job), *_fasteners(job)]
    if not rows:
        return None
    return BookHolding(tuple(rows), straps_picture(job, straps) if straps else None)


def _straps(straps: Sequence[Strap]) -> list[HoldingRow]:
    from fitkit.shop.build_book import HoldingRow

    rows = []
    for strap in straps:
        first, last = strap.design.on
        cut = "; ".join(f"cut {strap.count} of {piece.in_words()}" for piece in strap.fit.pieces)
        words = [f"riveted to '{first}', closed on '{last}'", strap.in_words(), cut]
        told = " ".join(f"{one[0].upper()}{one[1:]}." for one in words)
        rows.append(HoldingRow(strap.design.name, f"strap, {strap.design.closing}", told))
    return rows


def _pads(job: Job) -> list[HoldingRow]:
    from fitkit.job.designs import pad_designs
    from fitkit.shop.build_book import HoldingRow

    return [
        HoldingRow(
            pad.name,
            "pad",
            f"Glued inside '{pad.on}', {pad.edge_mm:g} mm inside its edge: {pad.material} "
            f"{pad.thickness_mm:g} mm, {pad.layers} layer{'s' * (pad.layers != 1)}.",
        )
        for pad in pad_designs(job.settings)
    ]


def _soft_pieces(job: Job) -> list[HoldingRow]:
    from fitkit.job.designs import gusset_designs
    from fitkit.shop.build_book import HoldingRow

    return [
        HoldingRow(
            piece.name,
            "gap piece",
            f"Between '{piece.between[0]}' and '{piece.between[1]}', {piece.under_mm:g} mm under "
            f"each: {piece.material} {piece.thickness_mm:g} mm, seam {piece.seam_mm:g} mm.",
        )
        for piece in gusset_designs(job.settings)
    ]


def _fasteners(job: Job) -> list[HoldingRow]:
    from fitkit.shop.build_book import HoldingRow
    from fitkit.workflow.fasteners import laid_fasteners

    return [
        HoldingRow(
            one.design.name,
            one.kind,
            f"Holds '{one.design.on[0]}' on '{one.design.on[1]}'; opened by "
            f"{'a driver' if one.tool == 'driver' else 'hand'}.",
        )
        for one in laid_fasteners(job)
    ]
