"""Forming plans: order, numbers, limits and words."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.materials.rivet import rivet_named
from fitkit.patch.design import EdgeTreatment, RivetRow
from fitkit.shop.cautions import CAUTIONS
from fitkit.shop.forming_step import FormingPlan
from fitkit.shop.hole_timing import least_hole_to_bend_mm
from fitkit.shop.plan_facts import plan_facts
from fitkit.shop.plan_part import plan_of, plan_part
from fitkit.template.rivet_joint import RivetHoles, rivet_holes
from tests.template.parts import rectangle, vambrace
from tests.truth import solids


def titles(plan: FormingPlan) -> list[str]:
    return [step.title for step in plan.steps]


def cap(half_angle: float = 0.6, **design: object) -> FlatPatch:
    mesh = solids.spherical_cap(100.0, half_angle, 7.0)
    given = {"material": "aluminium 1100-O", "thickness_mm": 1.0, **design}
    return flatten_patch(solids.patch_of(mesh, name="knee cop", lines=("rim",), **given))


@cache
def sleeve(material: str, thickness_mm: float) -> FlatPatch:
    return vambrace(material=material, thickness_mm=thickness_mm)


def words(plan: FormingPlan) -> str:
    return " ".join(line for step in plan.steps for line in (step.title, *step.lines, step.tools))


def test_flange_folded_flat_shows_the_handbooks_arithmetic() -> None:
    """Sheet 0.064, radius 0.25 in, 45°: setback 0.130 in (AC 43.13-1B figure 4-3)."""
    inch = 25.4
    bend = EdgeTreatment("flange", 20.0, 0.25 * inch, 0.25 * 3.141592653589793)
    plan = plan_part(
        rectangle(edges={"head": bend}, material="aluminium 5052-O", thickness_mm=0.064 * inch)
    )
    step = next(step for step in plan.steps if step.title.startswith("Fold 'head'"))
    assert f"setback {0.1301 * inch:.2f}" in step.lines[1]
    assert "AC 43.13-1B" in step.source
    assert step.lines[-1] == "it springs back: bend to 46° on the brake"
    assert "Gardiner" in step.source
    assert all(check.verdict == "holds" for check in plan.checks)


@pytest.mark.parametrize(
    ("turned_deg", "radius_mm", "where"),
    [
        # R - A (R + 0.41 t) / 2 with t = 1: 6 - 5.03; 3 - 2.68; 1 - 1.11; 1.5 - 1.50.
        (90.0, 6.0, "1.0 mm past the fold line, on the flange's side"),
        (90.0, 3.0, "0.3 mm past the fold line, on the flange's side"),
        (90.0, 1.0, "0.1 mm short of the fold line, on the plate's side"),
        (90.0, 1.5, "on the fold line"),
    ],
)
def test_the_brake_s_nose_stands_one_radius_past_the_bend_s_start(
    turned_deg: float, radius_mm: float, where: str
) -> None:
    """FAA-H-8083-31, sight line: one radius from the bend tangent line that lies under the nose.

    The fold line is the middle of the bend, half an allowance past that tangent line.
    """
    bend = EdgeTreatment("flange", 20.0, radius_mm, np.radians(turned_deg))
    plan = plan_part(rectangle(edges={"head": bend}, material="aluminium 3003-O", thickness_mm=1.0))
    step = next(step for step in plan.steps if step.title.startswith("Fold 'head'"))
    assert f"clamp with the edge of the brake's nose {where} (sight line" in step.lines[2]


def test_a_fold_is_bent_past_its_angle_where_its_springback_is_known() -> None:
    """AlSiMgMn at r/s 1.6 has k 0.98 (Tabellenbuch Metall): 90° / 0.98 = 91.8°."""
    bend = EdgeTreatment("flange", 20.0, 1.6)
    plan = plan_part(
        rectangle(edges={"head": bend}, material="aluminium 6061-T6", thickness_mm=1.0)
    )
    step = next(step for step in plan.steps if step.title.startswith("Fold 'head'"))
    assert step.lines[-1] == "it springs back: bend to 92° on the brake"
    assert "Tabellenbuch" in step.source


def test_bend_tighter_than_the_temper_takes_is_told() -> None:
    """6061-T6 of 1 mm wants 1.5 t (design-book page); the flange has 1 mm."""
    flange = EdgeTreatment("flange", 12.0, 1.0)
    plan = plan_part(
        rectangle(edges={"head": flange}, material="aluminium 6061-T6", thickness_mm=1.0)
    )
    (over,) = plan.over
    assert (over.value.split(",")[0], over.limit) == ("1 mm inside", "1.5 mm")
    assert over.verdict == "over"
    finding = over.finding("guard")
    assert finding is not None
    assert (finding.code, finding.severity, finding.where) == ("bend-tight", "warning", "guard")
    assert "1.5 mm inside or more" in finding.remedy


def test_alloy_not_told_leaves_a_hem_unsure() -> None:
    plan = plan_part(
        rectangle(edges={"head": EdgeTreatment("hem", 6.0)}, material="aluminium", thickness_mm=1.0)
    )
    (unsure,) = plan.over
    assert unsure.verdict == "unsure"
    finding = unsure.finding("guard")
    assert finding is not None
    assert finding.severity == "note"
    assert "offcut" in finding.remedy
    assert "6061-T6, if it is that" in unsure.limit


def test_rolled_plate_of_soft_sheet_tells_radius_and_springback() -> None:
    """R 40 at the middle of 1 mm: inside 39.5; Al 99.0 at r/s 39.5 has k 0.96: 37.9."""
    mesh = solids.cylinder_panel(40.0, 2.0, 160.0, 5.0)
    plan = plan_part(
        flatten_patch(solids.patch_of(mesh, material="aluminium 1100-O", thickness_mm=1.0))
    )
    assert titles(plan) == ["Mark and cut", "Roll", "Fit and finish"]
    roll = plan.steps[1]
    assert roll.lines[0] == "about an upright axis: 40 mm inside radius" or "39 mm" in roll.lines[0]
    assert any("roll to about 38 mm" in line for line in roll.lines)
    assert plan.cautions == ("edges",)


def test_deep_bowl_is_worked_in_rounds_with_anneals_between() -> None:
    plan = plan_part(cap(1.1, forming="dish", material="aluminium 3003-O"))
    assert titles(plan)[1:4] == ["Dish", "Anneal", "Planish"]
    anneal = plan.steps[2]
    assert "343 to 413 °C" in anneal.lines[0]
    rises = [int(x) for x in anneal.lines[1].split(": ")[1].removesuffix(" mm").split(", ")]
    # The whole section is cut from rim to rim: 100 (1 - cos 1.1) at the end.
    assert rises[-1] == pytest.approx(100.0 * (1 - 0.4536), abs=1.0)
    assert rises == sorted(rises)
    assert {"hot metal", "hammer", "edges"} <= set(plan.cautions)
    # What half-hard sheet loses is no matter for soft sheet.
    assert not any("half-hard" in line for line in anneal.lines)
    assert "no glow" in CAUTIONS["hot metal"].short


@pytest.mark.parametrize(
    ("material", "degrees", "cools", "k"),
    [
        ("steel", "650 to 700 °C", "never in water", 0.41),
        ("brass", "425 to 650 °C", "in air", 0.35),
        ("copper", "375 to 650 °C", "in air or in water", 0.35),
    ],
)
def test_each_metal_is_annealed_folded_and_cautioned_in_its_own_way(
    material: str, degrees: str, cools: str, k: float
) -> None:
    plan = plan_part(cap(material=material, forming="dish"))
    heat = next(step for step in plan.steps if "anneal" in step.title.lower())
    assert degrees in heat.lines[0]
    assert cools in heat.lines[0]
    assert "hot steel" in plan.cautions
    assert not any("aluminium" in line for step in plan.steps for line in step.lines)
    assert not any("aluminium" in CAUTIONS[key].words for key in plan.cautions)
    flange = EdgeTreatment("flange", 12.0, 1.5)
    fold = plan_part(rectangle(edges={"head": flange}, material=material, thickness_mm=1.0))
    step = next(step for step in fold.steps if step.title.startswith("Fold"))
    assert f"bend allowance {np.pi / 2 * (1.5 + k):.2f} (K {k:g})" in step.lines[1]
    assert all(check.verdict == "holds" for check in fold.checks)


def test_raising_gathers_and_dishing_stretches() -> None:
    raised, dished = plan_part(cap(forming="raise")), plan_part(cap(forming="dish"))
    assert "Raise" in titles(raised)
    assert "Dish" not in titles(raised)
    assert "Dish" in titles(dished)
    assert "Raise" not in titles(dished)


def test_holes_wait_where_forming_draws_them_out_of_round() -> None:
    """Blind 3.2: holes 3.3 to 3.4 mm, so 0.1 mm of room (ISO 15977, from memory)."""
    shallow, deep = cap(0.3), cap(1.0)
    for flat, before in ((shallow, True), (deep, False)):
        edges = {"rim": EdgeTreatment("lap", rivets=RivetRow("blind 3.2"))}
        lapped = replace(flat, design=replace(flat.design, edges=edges))
        under = replace(flat, design=replace(flat.design, name="under"))
        rows, _ = rivet_holes([lapped, under])
        plan = plan_part(lapped, rivets=[row for row in rows if row.patch == "knee cop"])
        assert ("Drill in the blank" in titles(plan)) == before
        assert ("Drill in the formed plate" in titles(plan)) == (not before)
        assert "rivets" in plan.cautions


@pytest.mark.parametrize(
    ("material", "thickness", "told", "not_told"),
    [
        ("card", 0.5, ("Curl", "grain", "glue"), ("anneal", "hammer", "deburr")),
        ("foam", 6.0, ("Heat and form", "bevel", "contact cement"), ("anneal", "score", "deburr")),
        ("leather", 3.0, ("Skive", "Wet and form", "Dry"), ("anneal", "heat gun", "deburr")),
    ],
)
def test_each_soft_sheet_has_its_own_words(
    material: str, thickness: float, told: tuple[str, ...], not_told: tuple[str, ...]
) -> None:
    plan = plan_part(sleeve(material, thickness))
    for word in told:
        assert word in words(plan)
    cautions = " ".join(CAUTIONS[key].short + CAUTIONS[key].words for key in plan.cautions)
    for word in not_told:
        assert word not in words(plan)
    for metal in ("Deburr", "aluminium", "Hammering"):
        assert metal not in cautions
    assert set(plan.cautions) <= set(CAUTIONS)


@pytest.mark.parametrize(
    ("material", "thickness", "before", "after"),
    [("aluminium 1100-O", 1.0, "Roll", "Fit and finish"), ("leather", 3.0, "Dry", "Finish")],
)
def test_holes_for_straps_wait_till_the_plate_is_formed(
    material: str, thickness: float, before: str, after: str
) -> None:
    facts = plan_facts(sleeve(material, thickness))
    told = "2 blind rivets 4 × 8 for 'side strap': drill 4.1 mm"
    plan = plan_of(replace(facts, fastened=(told,)))
    order = titles(plan)
    at = order.index("Holes for what is fastened")
    assert order.index(before) < at < order.index(after)
    assert plan.steps[at].lines[0] == told
    assert "Holes for what is fastened" not in titles(plan_of(facts))


def test_twin_is_told_by_its_own_lines() -> None:
    flat = rectangle(side=Side.LEFT, paired=True, material="aluminium 1100-O", thickness_mm=1.0)
    edges = {"left side": EdgeTreatment("wire", 3.0)}
    outline = tuple(
        replace(edge, line="left side") if edge.line == "foot" else edge for edge in flat.outline
    )
    flat = replace(flat, design=replace(flat.design, edges=edges), outline=outline)
    assert "Wire 'left side'" in titles(plan_part(flat))
    assert "Wire 'right side'" in titles(plan_part(flat, twin=True))


def test_holes_near_a_fold_wait_for_it() -> None:
    """Hole edge to bend at least 2.5 t + R: t 1, R 1.5 gives 4.0 (sheet-metal design guides)."""
    assert least_hole_to_bend_mm(1.0, 1.5) == pytest.approx(4.0)
    edges = {"head": EdgeTreatment("flange", 12.0, 1.5)}
    flat = rectangle(edges=edges, material="aluminium 1100-O", thickness_mm=1.0)
    rivet = rivet_named("blind 3.2")
    for up, waits in ((117.0, True), (100.0, False)):
        holes = np.array([[60.0, up], [100.0, up]])
        holes = holes - 0.5 * np.array([200.0, 120.0]) + flat.flat_mm.mean(axis=0)
        row = RivetHoles("test plate", 0, holes, np.zeros((2, 3)), rivet, 3.3, 2.0, 6.0)
        plan = plan_part(flat, rivets=[row])
        told = " ".join(line for step in plan.steps for line in step.lines)
        assert ("a bend is" in told) == waits
        assert ("Drill in the blank" in titles(plan)) == (not waits)


def test_every_seam_of_several_takes_what_is_told_of_the_seam() -> None:
    flat = sleeve("card", 0.5)
    outline = tuple(
        replace(edge, line="seam opening 2") if edge.line == "seam" else edge
        for edge in flat.outline
    )
    join = next(s for s in plan_part(replace(flat, outline=outline)).steps if s.title == "Join")
    assert "15 mm" in join.lines[0]
