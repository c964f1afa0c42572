"""A plate's bends, thinning, edges and stretch held against what its sheet takes."""

from __future__ import annotations

import math

import numpy as np

from fitkit.materials.bend import (
    bend_allowance_mm,
    bend_deduction_mm,
    setback_mm,
)
from fitkit.materials.bend_radius import LeastRadius, least_bend_radius, outer_fibre_strain
from fitkit.materials.springback import springback
from fitkit.shop.forming_step import FormingStep, PlanCheck, Verdict
from fitkit.shop.metal_contacts import metal_contacts
from fitkit.shop.plan_facts import PlanFacts
from fitkit.shop.turned_edge import TurnedEdge

__all__ = ["brake_bend_step", "plan_checks"]

_LEAST_FLANGE = 4.0
_GIVE = "cut relief, divide it with another line, or take a softer sheet"


def plan_checks(facts: PlanFacts) -> tuple[PlanCheck, ...]:
    """Return every check of a plate of metal, foam, leather or card."""
    checks = [_stretch(facts), _shrink(facts)]
    least = least_bend_radius(facts.material.name, facts.thickness_mm)
    if least is not None:
        checks += [_thickness(facts), _rolled(facts, least)]
        for edge in facts.edges:
            checks.append(_edge_bend(facts, edge, least))
            if edge.treatment.kind == "flange":
                checks.append(_flange_height(facts, edge))
    checks += [_strip(facts, edge) for edge in facts.edges]
    return (*checks, *metal_contacts(facts))


def brake_bend_step(facts: PlanFacts, edge: TurnedEdge) -> FormingStep:
    """Return how a flange is folded on a brake, with its arithmetic."""
    bend, t = edge.treatment, facts.thickness_mm
    turned, radius = bend.turned_rad, bend.radius_mm
    k = facts.material.bend_k
    setback = setback_mm(turned, radius, t)
    allowance = bend_allowance_mm(turned, radius, t, k)
    deduction = bend_deduction_mm(turned, radius, t, k)
    back = springback(facts.material.name, radius, t)
    if back is None:
        springs, source = "it springs back: no value is known for this sheet; try on scrap", ""
    else:
        over = math.degrees(back.tool_angle_rad(turned))
        springs, source = f"it springs back: bend to {over:.0f}° on the brake", f"; {back.source}"
    return FormingStep(
        f"Fold '{facts.called(edge.line)}' on the brake",
        (
            f"{bend.size_mm:g} mm flange, {math.degrees(turned):.0f}°, inside radius {radius:g} "
            "mm, away from the skin, while the sheet is flat",
            f"setback {setback:.2f}, bend allowance {allowance:.2f} (K {k:g}), deduction "
            f"{deduction:.2f} mm; the template's fold line is the middle of the bend",
            f"clamp with the edge of the brake's nose {_from_fold(radius - 0.5 * allowance)} "
            "(sight line: one radius from the bend's start under the nose)",
            springs,
        ),
        "bending brake with a nose of that radius; bend an offcut first",
        "setback: AC 43.13-1B (seen); sight line: FAA-H-8083-31 (memory); K: Machinery's Handbook "
        f"(memory){source}",
    )


def _from_fold(toward_flange_mm: float) -> str:
    """Return where the nose's edge stands: the bend starts half its allowance before the fold."""
    away = f"{abs(toward_flange_mm):.1f}"
    if away == "0.0":
        return "on the fold line"
    if toward_flange_mm > 0:
        return f"{away} mm past the fold line, on the flange's side"
    return f"{away} mm short of the fold line, on the plate's side"


def _verdict(holds: bool) -> Verdict:
    return "holds" if holds else "over"


def _stretch(facts: PlanFacts) -> PlanCheck:
    most = float(np.maximum(facts.demand.most - 1.0, 0.0))
    limit = facts.material.stretch_limit
    return PlanCheck(
        "most stretch",
        f"{100 * most:.1f} %",
        f"{100 * limit:.0f} %",
        _verdict(most <= limit),
        facts.material.source,
        facts.material.confidence,
        _GIVE,
    )


def _shrink(facts: PlanFacts) -> PlanCheck:
    most = float(np.maximum(1.0 - facts.demand.least, 0.0))
    limit = facts.material.shrink_limit
    return PlanCheck(
        "most shrink",
        f"{100 * most:.1f} %",
        f"{100 * limit:.0f} %",
        _verdict(most <= limit),
        "how far it can be gathered: common practice, no source",
        "practice",
        _GIVE,
    )


def _thickness(facts: PlanFacts) -> PlanCheck:
    """Thickness left where it is least, volume being kept.

    The limit is that of a sheet stretched as far as its temper goes in both directions.
    """
    left = facts.demand.thinnest_mm
    limit = facts.thickness_mm / (1.0 + facts.material.stretch_limit) ** 2
    return PlanCheck(
        "thickness left",
        f"{left:.2f} of {facts.thickness_mm:g} mm",
        f"{limit:.2f} mm",
        _verdict(left >= limit - 1e-9),
        facts.material.source,
        facts.material.confidence,
        "take a thicker sheet, or stretch over a wider area",
    )


def _rolled(facts: PlanFacts, least: LeastRadius) -> PlanCheck:
    inside = facts.shape.tightest_mm - 0.5 * facts.thickness_mm
    value = "flat" if not np.isfinite(inside) else f"{inside:.0f} mm inside"
    return _radius_check(facts, "tightest bend of the plate", inside, value, least)


def _edge_bend(facts: PlanFacts, edge: TurnedEdge, least: LeastRadius) -> PlanCheck:
    radius = edge.inside_radius_mm
    strain = outer_fibre_strain(radius, facts.thickness_mm)
    value = "folded flat" if radius == 0 else f"{radius:g} mm inside"
    if radius > 0:
        value += f", outside stretched {100 * strain:.0f} %"
    return _radius_check(facts, f"bend along '{facts.called(edge.line)}'", radius, value, least)


def _radius_check(
    facts: PlanFacts, what: str, radius_mm: float, value: str, least: LeastRadius
) -> PlanCheck:
    known = least.temper == facts.material.name
    holds = radius_mm >= least.radius_mm - 1e-9
    limit = f"{least.radius_mm:.1f} mm" if least.radius_mm else "may be folded flat"
    if not known:
        limit += f" ({least.temper.removeprefix('aluminium ')}, if it is that)"
    verdict: Verdict = "holds" if holds else "over" if known else "unsure"
    if known:
        remedy = f"bend it to {least.radius_mm:.1f} mm inside or more, or anneal it there first"
    else:
        remedy = "find out the alloy, or bend an offcut to that radius and look for cracks"
    return PlanCheck(
        what, value, limit, verdict, least.source, least.confidence, remedy, "bend-tight"
    )


def _flange_height(facts: PlanFacts, edge: TurnedEdge) -> PlanCheck:
    least = _LEAST_FLANGE * facts.thickness_mm
    return PlanCheck(
        f"flange along '{facts.called(edge.line)}', for the brake to hold it",
        f"{edge.treatment.size_mm:g} mm",
        f"4 t = {least:.1f} mm",
        _verdict(edge.treatment.size_mm >= least),
        "sheet-metal design guides",
        "seen",
        "make the flange higher, or turn it by hammer",
        "flange-low",
    )


def _strip(facts: PlanFacts, edge: TurnedEdge) -> PlanCheck:
    material = facts.material
    shares = edge.stretch / material.stretch_limit, edge.shrink / material.shrink_limit
    parts = [
        f"{word} {100 * strain:.0f} %"
        for word, strain in (("stretch", edge.stretch), ("shrink", edge.shrink))
        if strain >= 0.005
    ]
    return PlanCheck(
        f"strip along '{facts.called(edge.line)}'",
        ", ".join(parts) or "straight",
        f"+{100 * material.stretch_limit:.0f} / -{100 * material.shrink_limit:.0f} %",
        _verdict(max(shares) <= 1.0),
        material.source,
        material.confidence,
        "make the strip narrower, notch it, or anneal the edge and turn it in stages",
        "edge-strip",
    )
