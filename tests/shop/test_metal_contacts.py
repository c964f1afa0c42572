"""Rivets and sheets of metals that do not suit each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.findings import Severity
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.holding.fixing import Fixing
from fitkit.materials.rivet import rivet_named
from fitkit.shop.forming_step import PlanCheck
from fitkit.shop.plan_facts import plan_facts
from fitkit.shop.plan_part import plan_of, plan_part
from fitkit.template.rivet_joint import RivetHoles
from tests.template.parts import rectangle


def row_of(flat: FlatPatch, rivet: str, meets: str) -> RivetHoles:
    middle = flat.flat_mm.mean(axis=0) + np.array([[0.0, 0.0], [20.0, 0.0]])
    return RivetHoles(
        flat.design.name, 0, middle, np.zeros((2, 3)), rivet_named(rivet), 3.3, 2.0, 6.0,
        meets=meets,
    )  # fmt: skip


def contacts(material: str, rivet: str, meets: str = "") -> list[PlanCheck]:
    flat = rectangle(material=material, thickness_mm=1.0)
    plan = plan_part(flat, rivets=[row_of(flat, rivet, meets or material)])
    return [check for check in plan.checks if check.code == "metals-apart"]


@pytest.mark.parametrize("material", ["steel", "brass", "copper"])
def test_aluminium_rivets_in_another_metal_are_a_warning(material: str) -> None:
    (check,) = contacts(material, "blind 3.2")
    finding = check.finding("guard")
    assert finding is not None
    assert finding.severity is Severity.WARNING
    assert f"aluminium in {material}, " in finding.message
    assert "V apart: the rivets corrode" in finding.message
    suits = {"steel": "blind 3.2 steel", "brass": "blind 3.2 copper", "copper": "blind 3.2 copper"}
    assert f"Take {suits[material]}, or keep the metals apart" in finding.remedy


@pytest.mark.parametrize(
    ("rivet", "severity"),
    [
        ("blind 3.2 copper", Severity.WARNING),
        ("solid 3.2 brass", Severity.WARNING),
        ("blind 3.2 steel", Severity.NOTE),
        ("screw M4", Severity.NOTE),
    ],
)
def test_other_rivets_in_aluminium_eat_the_sheet(rivet: str, severity: Severity) -> None:
    (check,) = contacts("aluminium 3003-O", rivet)
    finding = check.finding("guard")
    assert finding is not None
    assert finding.severity is severity
    assert "in aluminium, " in finding.message
    assert "V apart: the sheet round them corrodes" in finding.message


def test_one_metal_is_no_matter_and_neither_is_leather() -> None:
    assert contacts("aluminium 5052-O", "blind 3.2") == []
    assert contacts("steel", "screw M4") == []
    assert contacts("leather", "solid 3.2 copper") == []
    assert contacts("aluminium 5052-O", "blind 3.2", "leather") == []


def test_brass_and_copper_suit_each_other() -> None:
    (check,) = contacts("copper", "solid 3.2 brass")
    assert check.verdict == "holds"
    assert check.finding("guard") is None


def test_two_sheets_are_told_and_no_rivet_is_advised_that_suits_but_one() -> None:
    rivets, sheets = contacts("brass", "blind 3.2", "aluminium 3003-O")
    assert "keep the metals apart" in rivets.remedy
    assert "take" not in rivets.remedy
    assert (sheets.what, sheets.verdict) == ("sheets at 'foot'", "over")
    assert "aluminium on brass, 0.44 V apart: the aluminium corrodes" in sheets.value


def test_rows_that_are_alike_are_told_together() -> None:
    flat = rectangle(material="brass", thickness_mm=1.0)
    rows = [row_of(flat, "blind 3.2", "brass") for _ in range(3)]
    rows[1] = replace(rows[1], edge=2)
    plan = plan_part(flat, rivets=rows)
    (check,) = [check for check in plan.checks if check.code == "metals-apart"]
    lines = [flat.outline[edge].line for edge in (0, 2)]
    assert check.what == f"rivets at '{lines[0]}', '{lines[1]}'"


def test_straps_are_held_to_it_too() -> None:
    facts = plan_facts(rectangle(material="copper", thickness_mm=1.0))
    plan = plan_of(replace(facts, fastened_by=(("side strap", Fixing("blind 4")),)))
    (check,) = [check for check in plan.checks if check.code == "metals-apart"]
    assert check.what == "rivets at 'side strap'"
    assert check.remedy.startswith("take blind 4 copper")


def fastened(material: str, what: str, fixing: Fixing) -> list[PlanCheck]:
    facts = plan_facts(rectangle(material=material, thickness_mm=1.0))
    plan = plan_of(replace(facts, fastened_by=((what, fixing),)))
    return [check for check in plan.checks if check.code == "metals-apart"]


def test_what_plates_swing_on_is_held_to_it_by_its_metal_alone() -> None:
    (check,) = fastened("steel", "pivot of visor", Fixing(metal="brass"))
    assert check.what == "screws or rivets at 'pivot of visor'"
    assert check.value.startswith("brass in steel, ")
    assert check.value.endswith("the sheet round them corrodes")
    assert check.remedy.startswith("take steel ones, or keep the metals apart")
    assert fastened("steel", "pivot of visor", Fixing()) == []
    assert fastened("steel", "pivot of visor", Fixing(metal="steel")) == []


def test_plates_that_swing_on_each_other_are_told_whatever_they_swing_on() -> None:
    fixing = Fixing(meets=("leather", "copper"))
    (check,) = fastened("aluminium 3003-O", "lame guard 2", fixing)
    assert check.what == "sheets at 'lame guard 2'"
    assert check.value.startswith("aluminium on copper, 0.43 V apart: the aluminium corrodes")
