"""How plates of card, foam and leather are made, each in its own words."""

from __future__ import annotations

import math

from fitkit.shop.forming_step import FormingPlan, FormingStep
from fitkit.shop.hole_steps import fastening_holes, holes_after, holes_before
from fitkit.shop.plan_checks import plan_checks
from fitkit.shop.plan_facts import PlanFacts
from fitkit.shop.plate_words import radius_words, shape_words
from fitkit.template.mirror import mirrored_name

__all__ = ["card_plan", "foam_plan", "leather_plan"]

_PRACTICE = "common practice, no source"
# Plates that turn less than this are cut square: the knife strays as much; common practice.
_SQUARE_DEG = 6.0
_UNEVEN_DEG = 16.0


def card_plan(facts: PlanFacts) -> FormingPlan:
    """Return the plan of a card plate: scored, curled, glued."""
    steps = [
        FormingStep(
            "Cut",
            ("grain along the axis of the bend: card curls easily round its grain",),
            "sharp knife, steel rule, mat",
            _PRACTICE,
        )
    ]
    if facts.shape.kind != "flat":
        rise, rule = facts.shape.rise_mm()
        steps.append(
            FormingStep(
                "Curl",
                (
                    f"about {facts.axis_words()}: {radius_words(facts)}",
                    "draw it over the table's edge in many light passes, a little further each",
                    f"right when a {rule:.0f} mm straight edge across shows {rise:.1f} mm of gap",
                ),
                "table edge or dowel",
                _PRACTICE,
            )
        )
    if not facts.demand.only_bent:
        steps.append(
            FormingStep(
                "Ease",
                (
                    f"card does not stretch: it will stand off or crease {_worst(facts)} "
                    "(see the findings)",
                    "dampen that place, press it over the form and let it dry, or cut relief",
                ),
                "damp sponge, form, tape",
                _PRACTICE,
            )
        )
    steps += _folds(facts, "score to half the thickness on the outside of the fold, then fold")
    steps += [*_laps(facts, "glue the laps, hold with clips till dry; tape first to try it on")]
    steps += [*holes_before(facts), *holes_after(facts), *_punched(facts)]
    steps.append(
        FormingStep("Seal", ("seal edges and faces if it is to be worn",), "varnish", _PRACTICE)
    )
    return FormingPlan(shape_words(facts), tuple(steps), plan_checks(facts), ("knife", "glue"))


def foam_plan(facts: PlanFacts) -> FormingPlan:
    """Return the plan of a foam plate: bevelled, heated, glued, sealed."""
    steps = [
        FormingStep(
            "Cut",
            (
                "knife square to the sheet, one long stroke; the template is the sheet's middle",
                *_bevels(facts),
            ),
            "fresh blades, rule",
            "bevel: half the turn between the formed plates, computed; blades: common practice",
        ),
        *holes_before(facts),
        FormingStep(
            "Heat and form",
            (
                "warm evenly from both sides till it goes limp and its surface closes",
                f"hold over the form: {radius_words(facts)}"
                if facts.shape.kind in ("rolled", "bowl")
                else "hold over the form and against the gauges",
                *_give(facts, "press", "ease in"),
                "keep it there till it is cold; true up the edges after, it has grown",
            ),
            "heat gun, form, gloves",
            "middle of the sheet keeps its length, edges trued after forming: common practice",
        ),
        *_laps(facts, "contact cement on both faces, wait till dry to the touch, press once"),
        *holes_after(facts),
        *_punched(facts),
        FormingStep(
            "Seal",
            ("pass the heat over it, then seal before paint",),
            "sealer, brush",
            _PRACTICE,
        ),
    ]
    return FormingPlan(
        shape_words(facts),
        tuple(steps),
        plan_checks(facts),
        ("knife", "hot water", "glue"),
    )


def leather_plan(facts: PlanFacts) -> FormingPlan:
    """Return the plan of a leather plate: skived, wet, formed on a stand, dried."""
    steps = [
        FormingStep(
            "Cut",
            (
                "lay the blank clear of flanks and scars, outside up",
                "do not punch rivet holes yet: wet leather moves",
            ),
            "knife, cutting board",
            _PRACTICE,
        )
    ]
    if facts.laps:
        told = ", ".join(f"'{line}' {width:g} mm" for line, width in facts.laps)
        steps.append(
            FormingStep(
                "Skive",
                (
                    f"thin the laps from the flesh side to nothing at the edge: {told}",
                    f"two laps then make up about one thickness, {facts.thickness_mm:g} mm",
                ),
                "skiving knife, glass slab",
                _PRACTICE,
            )
        )
    rise, rule = facts.shape.rise_mm()
    steps += [
        FormingStep(
            "Wet and form",
            (
                "vegetable-tanned leather only: soak till the bubbles stop, let it lie till its "
                "colour comes back",
                f"mould it over the form about {facts.axis_words()}: {radius_words(facts)}"
                if facts.shape.kind in ("rolled", "bowl")
                else "mould it over the form and against the gauges",
                *_give(facts, "stretch", "gather"),
                f"right when a {rule:.0f} mm straight edge across shows {rise:.1f} mm of gap",
            ),
            "bucket, form, bone folder, pins or straps",
            "wet-formed vegetable-tanned leather shrinks slightly and stiffens: common practice",
        ),
        FormingStep(
            "Dry",
            (
                "on the form, slowly, away from fire and sun; a day or two",
                "it shrinks a little: try it on before any hole is made",
            ),
            "",
            _PRACTICE,
        ),
    ]
    if facts.holes:
        lines = [
            f"'{facts.called(facts.flat.outline[one.row.edge].line)}': "
            f"{len(one.row.holes_mm)} of {one.row.drill_mm:g} mm"
            for one in facts.holes
        ]
        steps.append(
            FormingStep(
                "Punch",
                (*lines, "punch the leather through the metal's holes where they meet"),
                "hole punch, washers under every head",
                _PRACTICE,
            )
        )
    steps += _punched(facts)
    steps.append(
        FormingStep(
            "Finish",
            ("bevel and burnish the edges, dye, oil or wax; line it if it rubs",),
            "edge beveller, slicker",
            _PRACTICE,
        )
    )
    cautions = ("knife", "hot water", *(("rivets",) if facts.holes else ()))
    return FormingPlan(shape_words(facts), tuple(steps), plan_checks(facts), cautions)


def _punched(facts: PlanFacts) -> list[FormingStep]:
    return fastening_holes(
        facts, "mark them on the blank, punch once it is formed", "hole punch, washers"
    )


def _bevels(facts: PlanFacts) -> list[str]:
    if not facts.bevels:
        return ["where two edges meet at an angle bevel each by half of it"]
    lines = []
    for bevel in facts.bevels:
        line = facts.called(bevel.line)
        other = mirrored_name(bevel.neighbour) if facts.twin else bevel.neighbour
        turn, least, most = (
            math.degrees(angle) for angle in (bevel.turn_rad, bevel.least_rad, bevel.most_rad)
        )
        itself = bevel.neighbour == facts.flat.design.name
        where = f"'{line}', to itself" if itself else f"'{line}', to '{other}'"
        if abs(turn) < _SQUARE_DEG:
            lines.append(f"{where}: no bevel, they meet all but flat")
            continue
        face = "inside" if turn > 0 else "outside"
        words = f"{where}: bevel {0.5 * abs(turn):.0f}° off the {face} ({abs(turn):.0f}° in all)"
        if most - least > _UNEVEN_DEG:
            ends = sorted(0.5 * abs(angle) for angle in (least, most))
            words += f"; {ends[0]:.0f} to {ends[1]:.0f}° along it, hold them together and see"
        lines.append(words)
    return lines


def _worst(facts: PlanFacts) -> str:
    return facts.place(facts.demand.worst_mm)


def _give(facts: PlanFacts, out: str, into: str) -> tuple[str, ...]:
    demand = facts.demand
    parts = []
    if demand.stretch_mm2 > 0:
        parts.append(f"{out} the hatched area, up to {100 * (demand.most - 1):.0f} %")
    if demand.shrink_mm2 > 0:
        parts.append(f"{into} the dotted one, up to {100 * (1 - demand.least):.0f} %")
    return (f"{'; '.join(parts)}; worst {_worst(facts)}",) if parts else ()


def _folds(facts: PlanFacts, how: str) -> list[FormingStep]:
    if not facts.edges:
        return []
    told = [f"'{facts.called(edge.line)}': {edge.words}" for edge in facts.edges]
    return [FormingStep("Fold the edges", (*told, how), "bone folder, rule", _PRACTICE)]


def _laps(facts: PlanFacts, how: str) -> list[FormingStep]:
    if not facts.laps:
        return []
    told = ", ".join(f"'{line}' {width:g} mm" for line, width in facts.laps)
    return [FormingStep("Join", (f"laps: {told}", how), "glue, clips", _PRACTICE)]
