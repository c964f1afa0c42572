"""What a plate and its mirrored twin have alike is told once."""

from __future__ import annotations

from dataclasses import replace

from fitkit.findings import Finding, Severity
from fitkit.patch.design import RivetRow
from fitkit.shop.build_book import build_book
from fitkit.shop.pair_findings import pair_findings
from fitkit.template.make_templates import make_templates
from fitkit.template.rivet_joint import rivet_holes
from tests.shop.worn_barrel import RIVETED, barrel, with_edges


def said(where: str, message: str) -> Finding:
    return Finding("metals-apart", Severity.WARNING, where, message, "Take 'blind 4 copper'.")


def test_alike_ones_are_told_once_with_left_and_right_exchanged() -> None:
    drawn = said("cap, left", "Rivets at 'left seam' corrode.")
    twin = said("cap, right", "Rivets at 'right seam' corrode.")
    (told,) = pair_findings([drawn], [twin], names=("cap", "cap"))
    assert told == replace(drawn, where="cap, left and right")
    (told,) = pair_findings([drawn], [twin], names=("left cap", "right cap"))
    assert told.where == "left cap and right cap"


def test_what_is_left_of_a_sheet_is_no_side() -> None:
    drawn = said("cap, left", "The sheet's 0.6 mm left along 'left seam' are few.")
    twin = said("cap, right", "The sheet's 0.6 mm left along 'right seam' are few.")
    (told,) = pair_findings([drawn], [twin], names=("cap", "cap"))
    assert told.message == drawn.message


def test_what_one_half_has_alone_keeps_its_half() -> None:
    drawn = said("cap, left", "Rivets at 'left seam' corrode.")
    strap = said("cap, right", "Rivets at 'side strap' corrode.")
    assert pair_findings([drawn], [strap], names=("cap", "cap")) == (drawn, strap)
    twice = said("cap, right", "Rivets at 'right seam' corrode.")
    told = pair_findings([drawn], [twice, twice], names=("cap", "cap"))
    assert [one.where for one in told] == ["cap, left and right", "cap, right"]


def test_book_of_a_pair_tells_its_metals_once() -> None:
    """Steel rivets in two aluminium plates that are each made in a pair: one finding a plate."""
    upper, lower = barrel()
    steel = replace(RIVETED, rivets=RivetRow("blind 3.2 steel"))
    flats = [with_edges(upper, {"waist": steel}), lower]
    rows, _ = rivet_holes(flats)
    numbers = {flat.design.name: 1 + 2 * k for k, flat in enumerate(flats)}
    templates = [
        template
        for flat in flats
        for template in make_templates(
            flat, number=numbers[flat.design.name], job_name="", wearer=""
        )
    ]
    assert len(templates) == 4
    book = build_book(flats, templates, rows, job="", wearer="", numbers=numbers, axes={})
    found = [one for one in book.findings if one.code == "metals-apart"]
    assert [one.where for one in found] == ["upper, left and right", "lower, left and right"]
