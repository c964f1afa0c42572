"""Whether a plate, its rivets and the plates riveted to it are of metals that suit each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fitkit.materials.galvanic import INDOORS_V, WET_V, Couple, couple, metal_of
from fitkit.materials.rivet import Rivet, rivet_named
from fitkit.shop.forming_step import PlanCheck, Verdict
from fitkit.shop.plan_facts import PlanFacts

__all__ = ["metal_contacts"]

_APART = (
    "keep the metals apart: paint or lacquer both, set them in sealant or on leather, and keep "
    "them dry"
)


def metal_contacts(facts: PlanFacts) -> tuple[PlanCheck, ...]:
    """Return a check for each place where this plate touches another metal; none for one metal.

    A rivet that is less noble goes first, a small piece beside a large sheet, so it is told at the
    lower limit already; a sheet that is eaten round its rivets lasts in a dry room.
    """
    sheet = metal_of(facts.material.name)
    if sheet is None:
        return ()
    rivets: dict[tuple[Rivet, str], list[str]] = {}
    sheets: dict[str, list[str]] = {}
    for where, rivet, other in _met(facts):
        if rivet.made_of != sheet:
            rivets.setdefault((rivet, other or sheet), []).append(where)
        if other is not None and other != sheet:
            sheets.setdefault(other, []).append(where)
    found = [_of_rivet(_all(at), *key, sheet) for key, at in rivets.items()]
    return (*found, *(_of_sheets(_all(at), couple(sheet, other)) for other, at in sheets.items()))


def _met(facts: PlanFacts) -> Iterator[tuple[str, Rivet, str | None]]:
    """Where rivets go through the plate: the place in words, the rivet, the other sheet's metal."""
    for one in facts.holes:
        line = facts.flat.outline[one.row.edge].line
        yield f"'{facts.called(line)}'", one.row.rivet, metal_of(one.row.meets)
    for what, rivet in facts.fastened_by:
        yield f"'{what}'", rivet_named(rivet), None


def _all(places: Sequence[str]) -> str:
    return ", ".join(dict.fromkeys(places))


def _of_rivet(where: str, rivet: Rivet, other: str, sheet: str) -> PlanCheck:
    pair = couple(sheet, rivet.made_of)
    rivet_goes = pair.eaten == rivet.made_of
    named = f"{rivet.kind}s" if rivet.kind in ("screw", "post") else "rivets"
    suits = [
        rivet.of(metal).name
        for metal in rivet.metals
        if all(couple(metal, one).apart_v <= WET_V for one in (sheet, other))
    ]
    remedy = f"take {' or '.join(suits)}, or {_APART}" if suits else _APART
    eaten = f"the {named} corrode" if rivet_goes else "the sheet round them corrodes"
    what = f"{rivet.made_of} in {sheet}"
    return _check(f"{named} at {where}", what, eaten, pair, remedy, first=rivet_goes)


def _of_sheets(where: str, pair: Couple) -> PlanCheck:
    what = f"{pair.eaten} on {pair.spared}"
    return _check(f"sheets at {where}", what, f"the {pair.eaten} corrodes", pair, _APART)


def _check(
    where: str, what: str, eaten: str, pair: Couple, remedy: str, *, first: bool = False
) -> PlanCheck:
    verdict: Verdict = "holds"
    what += f", {pair.apart_v:.2f} V apart"
    if pair.apart_v > WET_V:
        verdict = "over" if first or pair.apart_v > INDOORS_V else "unsure"
        what += f": {eaten}"
    return PlanCheck(
        where,
        what,
        f"{WET_V:g} V wet, {INDOORS_V:g} V dry",
        verdict,
        "galvanic series in sea water, in MIL-STD-889's order; limits: anodic-index practice",
        "seen",
        remedy,
        "metals-apart",
    )
