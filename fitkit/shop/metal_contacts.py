"""Whether a plate, what goes through it and the plates it meets are of metals that suit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fitkit.holding.fixing import Fixing
from fitkit.materials.galvanic import INDOORS_V, METALS, WET_V, Couple, couple, metal_of
from fitkit.materials.rivet import rivet_named
from fitkit.shop.forming_step import PlanCheck, Verdict
from fitkit.shop.plan_facts import PlanFacts

__all__ = ["contacts_in", "metal_contacts"]

_APART = (
    "keep the metals apart: paint or lacquer both, set them in sealant or on leather, and keep "
    "them dry"
)


def metal_contacts(facts: PlanFacts) -> tuple[PlanCheck, ...]:
    """Return a check for each place where this plate touches another metal; none for one metal."""
    rows = [
        (
            facts.called(facts.flat.outline[one.row.edge].line),
            Fixing(one.row.rivet.name, meets=(one.row.meets,)),
        )
        for one in facts.holes
    ]
    return contacts_in(facts.material.name, (*rows, *facts.fastened_by))


def contacts_in(material: str, met: Iterable[tuple[str, Fixing]]) -> tuple[PlanCheck, ...]:
    """Return the checks of a sheet; none where it is no metal or meets its own alone.

    A rivet that is less noble goes first, a small piece beside a large sheet, so it is told at the
    lower limit already; a sheet that is eaten round its rivets lasts in a dry room.

    Parameters
    ----------
    met
        ``(where, fixing)``: what goes through it, with what that fastens.
    """
    sheet = metal_of(material)
    if sheet is None:
        return ()
    fixings: dict[tuple[str, str, str], list[str]] = {}
    sheets: dict[str, list[str]] = {}
    for where, fixing in met:
        others = [metal_of(one) for one in fixing.meets] or [None]
        for other in others:
            if fixing.made_of not in ("", sheet):
                key = fixing.rivet, fixing.made_of, other or sheet
                fixings.setdefault(key, []).append(where)
            if other is not None and other != sheet:
                sheets.setdefault(other, []).append(where)
    found = [_of_fixing(_all(at), *key, sheet) for key, at in fixings.items()]
    return (*found, *(_of_sheets(_all(at), couple(sheet, other)) for other, at in sheets.items()))


def _all(places: Sequence[str]) -> str:
    return ", ".join(dict.fromkeys(f"'{place}'" for place in places))


def _of_fixing(where: str, name: str, metal: str, other: str, sheet: str) -> PlanCheck:
    pair = couple(sheet, metal)
    goes = pair.eaten == metal
    rivet = rivet_named(name) if name else None
    named, metals = "screws or rivets", METALS
    if rivet is not None:
        named = f"{rivet.kind}s" if rivet.kind in ("screw", "post") else "rivets"
        metals = rivet.metals
    suits = [
        one for one in metals if all(couple(one, met).apart_v <= WET_V for met in (sheet, other))
    ]
    advised = " or ".join(suits if rivet is None else [rivet.of(one).name for one in suits])
    ones = " ones" if rivet is None else ""
    remedy = f"take {advised}{ones}, or {_APART}" if suits else _APART
    eaten = f"the {named} corrode" if goes else "the sheet round them corrodes"
    return _check(f"{named} at {where}", f"{metal} in {sheet}", eaten, pair, remedy, first=goes)


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
