"""What the build book tells of straps, pads, soft pieces and fasteners."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job
    from fitkit.shop.build_book import BookHolding, HoldingRow

__all__ = ["book_holding"]


def book_holding(job: Job) -> BookHolding | None:
    """Return a row for each and the straps' picture; None for a job that has none of them.

    Straps and fasteners are told as the templates have them.

    Raises
    ------
    JobError
        When a file of the templates is damaged.
    """
    from fitkit.job.strap_files import read_holding
    from fitkit.shop.build_book import BookHolding

    straps, fasteners, picture = read_holding(job.result_folder("templates"))
    rows = [*_straps(straps), *_pads(job), *_soft_pieces(job), *_fasteners(fasteners)]
    return BookHolding(tuple(rows), picture) if rows else None


def _straps(straps: Sequence[Mapping[str, Any]]) -> list[HoldingRow]:
    from fitkit.shop.build_book import HoldingRow

    rows = []
    for strap in straps:
        first, last = (one["patch"] for one in strap["on"])
        pieces = strap["pieces"]
        cut = "; ".join(f"cut {piece['count']} of {piece['words']}" for piece in pieces)
        words = [f"riveted to '{first}', closed on '{last}'", strap["words"], cut]
        told = " ".join(f"{one[0].upper()}{one[1:]}." for one in words)
        rows.append(HoldingRow(strap["name"], f"strap, {strap['closing']}", told))
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


def _fasteners(fasteners: Sequence[Mapping[str, Any]]) -> list[HoldingRow]:
    from fitkit.shop.build_book import HoldingRow

    return [
        HoldingRow(
            one["name"],
            one["kind"],
            f"Holds '{one['on'][0]}' on '{one['on'][1]}'; opened by "
            f"{'a driver' if one['opened_by'] == 'driver' else 'hand'}.",
        )
        for one in fasteners
    ]
