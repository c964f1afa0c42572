"""Steps for the rivet holes of a part: in the blank, in the formed plate, on assembly."""

from __future__ import annotations

from fitkit.shop.forming_step import FormingStep
from fitkit.shop.hole_timing import HoleTiming
from fitkit.shop.plan_facts import PlanFacts

__all__ = ["fastening_holes", "holes_after", "holes_before"]


def holes_before(facts: PlanFacts) -> list[FormingStep]:
    """Return the step for the rows that are drilled in the blank."""
    rows = [one for one in facts.holes if one.before]
    if not rows:
        return []
    lines = [
        f"'{_line(facts, one)}': {len(one.row.holes_mm)} of {one.row.drill_mm:g} mm, full size; "
        f"forming draws them {one.oval_mm:.2f} mm out of round, {one.room_mm:.2f} may be"
        for one in rows
    ]
    return [
        FormingStep(
            "Drill in the blank",
            tuple(lines),
            "centre punch, drill",
            "room: the rivet's smallest to largest hole",
        )
    ]


def holes_after(facts: PlanFacts) -> list[FormingStep]:
    """Return the steps for the rows that wait for the formed plate or its neighbour."""
    rows = [one for one in facts.holes if not one.before]
    if not rows:
        return []
    lines = []
    for one in rows:
        count = f"'{_line(facts, one)}': {len(one.row.holes_mm)} of {one.row.drill_mm:g} mm"
        if one.row.later:
            lines.append(f"{count}, drilled through the neighbour's lap on assembly")
        else:
            why = (
                f"a bend is {one.to_bend_mm:.1f} mm off, 2.5 t + R wants {one.least_to_bend_mm:.1f}"
                if one.near_bend
                else f"forming would draw them {one.oval_mm:.2f} mm out of round"
            )
            lines.append(f"{count}, after forming ({why}): prick the centres in the blank")
    lines.append("open one plate's holes, clamp, drill the other through them, deburr between")
    return [
        FormingStep(
            "Drill in the formed plate",
            tuple(lines),
            "drill, clamps",
            "order: common practice; hole to bend: sheet-metal design guides (seen)",
        )
    ]


def fastening_holes(facts: PlanFacts, how: str, tools: str) -> list[FormingStep]:
    """Return the step for the holes of straps and fasteners; none where nothing is fastened."""
    if not facts.fastened:
        return []
    lines = (*facts.fastened, how)
    return [FormingStep("Holes for what is fastened", lines, tools, "order: common practice")]


def _line(facts: PlanFacts, one: HoleTiming) -> str:
    return facts.called(facts.flat.outline[one.row.edge].line)
