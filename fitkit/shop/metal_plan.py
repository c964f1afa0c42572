"""How a metal plate is made: cut, bent, stretched, gathered, softened, its edges turned."""

from __future__ import annotations

import numpy as np

from fitkit.materials.anneal import Anneal, anneal_of
from fitkit.materials.springback import springback
from fitkit.shop.forming_step import FormingPlan, FormingStep
from fitkit.shop.hole_steps import fastening_holes, holes_after, holes_before
from fitkit.shop.plan_checks import brake_bend_step, plan_checks
from fitkit.shop.plan_facts import PlanFacts
from fitkit.shop.plate_words import radius_words, shape_words
from fitkit.shop.turned_edge import TurnedEdge, order_of_turning

__all__ = ["metal_plan"]

# Bent past this the eye sees a dent that rolling leaves and hammering must take up; practice.
_WORKED = 0.005
# Gathering or stretching an edge by less than this goes with the fold itself; practice.
_EDGE_WORKED = 0.01


def metal_plan(facts: PlanFacts) -> FormingPlan:
    """Return the plan of a plate of a sheet that hardens when it is worked."""
    anneal = anneal_of(facts.material.name)
    brake = tuple(edge for edge in facts.edges if _on_brake_first(facts, edge))
    later = order_of_turning(tuple(edge for edge in facts.edges if edge not in brake))
    steps = [_cut(facts), *_relief_cuts(facts), *holes_before(facts)]
    steps += [
        brake_bend_step(facts, edge) if edge.treatment.kind == "flange" else _turn(facts, edge)
        for edge in brake
    ]
    steps += _form(facts, anneal)
    steps += [_trim(facts)] if facts.trims else []
    steps += [_turn(facts, edge) for edge in later]
    steps += holes_after(facts)
    steps += fastening_holes(
        facts,
        "prick their marks in the blank, try it on the formed plate, then drill",
        "centre punch, drill",
    )
    steps.append(_finish(facts))
    cautions = ["edges"]
    worked = not facts.demand.only_bent or bool(later)
    if worked:
        cautions.append("hammer")
    if anneal is not None and not facts.demand.only_bent:
        # Its temperature is told in any case, for when the sheet goes stiff.
        is_aluminium = facts.material.name.startswith("aluminium")
        cautions.append("hot metal" if is_aluminium else "hot steel")
    if facts.holes or facts.fastened:
        cautions.append("rivets")
    return FormingPlan(shape_words(facts), tuple(steps), plan_checks(facts), tuple(cautions))


def _on_brake_first(facts: PlanFacts, edge: TurnedEdge) -> bool:
    """Whether an edge is folded flat before the plate is rolled along it.

    A plate that is hammered would pull a finished edge out of line.
    """
    foldable = edge.treatment.kind in {"flange", "hem", "double hem"}
    return foldable and edge.on_brake and facts.demand.strain < _WORKED


def _cut(facts: PlanFacts) -> FormingStep:
    lines = [
        "trace with pencil or marker, never a scriber: a scratch is where a bend cracks",
        "cut outside the line, file to it, deburr both faces",
    ]
    if facts.flat.design.grain is not None:
        lines.insert(0, "lay the grain arrow along the sheet's rolling direction")
    return FormingStep(
        "Mark and cut", tuple(lines), "snips or saw, file, deburring tool", "common practice"
    )


def _relief_cuts(facts: PlanFacts) -> list[FormingStep]:
    cuts = facts.flat.cuts
    if not cuts:
        return []
    hole = cuts[0].stop_hole_mm
    first = f"drill {hole:.3g} mm at each tip first, then saw" if hole > 0 else "saw to each tip"
    return [
        FormingStep(
            f"{len(cuts)} relief cut{'s' * (len(cuts) > 1)}",
            (
                f"{first}; up to {max(cut.length_mm for cut in cuts):.0f} mm long, opening up to "
                f"{max(cut.opening_mm for cut in cuts):.0f} mm",
                "once formed they close edge to edge: back them with a riveted strip, or have them "
                "welded by a qualified welder",
            ),
            "drill, saw, file",
            "common practice",
        )
    ]


def _form(facts: PlanFacts, anneal: Anneal | None) -> list[FormingStep]:
    demand, shape = facts.demand, facts.shape
    if shape.kind == "flat" and demand.only_bent:
        return [FormingStep("Leave flat", ("between its edges the plate stays flat as cut",))]
    steps: list[FormingStep] = []
    rolled_first = demand.forming != "raise" and shape.axis is not None
    if demand.only_bent or rolled_first:
        steps.append(_roll(facts))
    if not demand.only_bent and demand.forming != "roll":
        steps += _hammered(facts, anneal)
        steps.append(_planish(facts))
    return steps


def _roll(facts: PlanFacts) -> FormingStep:
    shape, t = facts.shape, facts.thickness_mm
    first, last = (abs(end) for end in shape.ends_mm)
    inside = abs(shape.across_mm) - 0.5 * t
    lines = [f"about {facts.axis_words()}: {radius_words(facts)}"]
    if shape.axis is not None and np.isfinite([first, last]).all() and _differ(first, last):
        up = facts.flat.up @ shape.axis > 0
        low, high = (first, last) if up else (last, first)
        level = "upper" if abs(facts.flat.up @ shape.axis) > 0.5 else "far"
        other = "lower" if level == "upper" else "near"
        lines.append(f"tighter at one end: {high:.0f} mm at the {level}, {low:.0f} at the {other}")
    rise, rule = shape.rise_mm()
    lines.append(f"right when a {rule:.0f} mm straight edge across shows {rise:.1f} mm of gap")
    back = springback(facts.material.name, inside, t)
    source = ""
    if back is not None:
        tool = back.tool_radius_mm(inside, t)
        try_first = "" if back.tabled else "; try a strip of scrap first"
        lines.append(f"it springs back: roll to about {tool:.0f} mm inside{try_first}")
        source = back.source
    else:
        lines.append(
            "it springs back: no value is known for this sheet; roll a test strip, then a little "
            "tighter, in several passes"
        )
    return FormingStep("Roll", tuple(lines), "slip rolls, or over a pipe by hand", source)


def _differ(first: float, last: float) -> bool:
    return max(first, last) > 1.15 * min(first, last)


def _hammered(facts: PlanFacts, anneal: Anneal | None) -> list[FormingStep]:
    demand = facts.demand
    rounds = 1 + (demand.anneals or 0)
    worst = facts.place(demand.worst_mm)
    stretch_cm2, shrink_cm2 = demand.stretch_mm2 / 100.0, demand.shrink_mm2 / 100.0
    steps: list[FormingStep] = []
    if demand.forming != "raise":
        lines = [
            f"stretch the hatched area ({stretch_cm2:.0f} cm²), up to "
            f"{100 * (demand.most - 1):.1f} %; worst {worst}",
            "work outwards from the middle in rings, blows overlapping; hollow no tighter than "
            f"{facts.shape.tightest_mm:.0f} mm",
        ]
        steps.append(
            FormingStep("Dish", tuple(lines), "bossing mallet on sandbag or hollow block", "")
        )
    if demand.forming != "dish" and demand.shrink_mm2 > 0:
        steps.append(
            FormingStep(
                "Raise" if demand.forming == "raise" else "Shrink",
                (
                    f"gather the dotted area ({shrink_cm2:.0f} cm²), up to "
                    f"{100 * (1 - demand.least):.1f} %"
                    + (f"; worst {worst}" if demand.forming == "raise" else ""),
                    "tuck the rim in small pleats and hammer each out from its tip to the edge",
                ),
                "tucking fork or shrinker; raising hammer and stake",
                "",
            )
        )
    if anneal is None:
        return steps
    if rounds > 1:
        sections = max((abs(s) for s in _rises(facts, rounds)), default=0.0)
        told = ", ".join(f"{rise:.0f}" for rise in _rises(facts, rounds))
        times = "once" if rounds == 2 else f"{rounds - 1} times"
        words = [
            f"{times}, between rounds: {anneal.temperature()}, {anneal.hold}; cool {anneal.cool}",
            f"sign: {anneal.sign}",
        ]
        if sections > 0:
            words.insert(1, f"rise of the section across after each round, about: {told} mm")
        if anneal.caution:
            words.append(anneal.caution)
        steps.append(
            FormingStep(
                "Anneal", tuple(words), "", f"{anneal.source} (confidence: {anneal.confidence})"
            )
        )
    else:
        steps.append(
            FormingStep(
                "No anneal expected",
                (
                    f"if it goes stiff or loud: {anneal.temperature()}, cool {anneal.cool}",
                    *([anneal.caution] if anneal.caution else []),
                ),
                "",
                f"{anneal.source} (confidence: {anneal.confidence})",
            )
        )
    return steps


def _rises(facts: PlanFacts, rounds: int) -> list[float]:
    """Return the rise across after each round: a bowl's strain goes with its rise squared."""
    from fitkit.shop.gauge_section import gauge_sections

    sections = gauge_sections(facts.flat)
    whole = abs(sections[0].rise_mm) if sections else 0.0
    return [whole * float(np.sqrt((k + 1) / rounds)) for k in range(rounds)]


def _planish(facts: PlanFacts) -> FormingStep:
    stake = max(0.9 * facts.shape.tightest_mm, 1.0)
    return FormingStep(
        "Planish",
        (
            "light overlapping blows, metal trapped between hammer and stake; check against the "
            "two gauges as you go",
        ),
        f"polished hammer; stake or dolly a little tighter than the plate, about {stake:.0f} mm",
        "common practice",
    )


def _trim(facts: PlanFacts) -> FormingStep:
    told = ", ".join(f"'{line}' {width:g} mm" for line, width in facts.trims)
    return FormingStep(
        "Trim", (f"mark the finished edge on the formed plate and cut: {told}",), "snips, file"
    )


def _turn(facts: PlanFacts, edge: TurnedEdge) -> FormingStep:
    title = {
        "wire": "Wire",
        "bead": "Roll the bead of",
        "hem": "Hem",
        "double hem": "Hem twice",
        "flange": "Turn the flange of",
    }[edge.treatment.kind]
    lines = [f"{edge.words}, away from the skin, {edge.length_mm:.0f} mm long"]
    if edge.stretch > _EDGE_WORKED:
        lines.append(f"its rim must stretch up to {100 * edge.stretch:.0f} %: thin it as you turn")
    if edge.shrink > _EDGE_WORKED:
        lines.append(f"its rim must shrink up to {100 * edge.shrink:.0f} %: tuck it as you turn")
    match edge.treatment.kind:
        case "wire":
            lines.append("turn to a right angle, lay the wire in, close from the middle outwards")
            tools = "hatchet stake or tipping rolls, wire, pliers, setting hammer"
        case "bead":
            lines.append("turn to a right angle, then round over a rod, from the middle outwards")
            tools = "tipping rolls or stake, rod"
        case "hem" | "double hem":
            lines.append("fold past a right angle, then close without crushing the fold")
            tools = "folding bar or brake, mallet"
        case _:
            lines.append("turn a little at a time along its whole length")
            tools = "tipping rolls, or hammer and dolly"
    return FormingStep(
        f"{title} '{facts.called(edge.line)}'", tuple(lines), tools, "order: common practice"
    )


def _finish(facts: PlanFacts) -> FormingStep:
    lines = ["deburr edges and holes again, round the corners, try it on over the padding"]
    if facts.laps:
        told = ", ".join(f"'{line}' {width:g} mm" for line, width in facts.laps)
        lines.insert(0, f"set the laps to their neighbours: {told}")
    if facts.material.name == "steel":
        lines.append("oil, paint or plate it: bare steel rusts")
    return FormingStep("Fit and finish", tuple(lines), "file, abrasive, gauges", "common practice")
