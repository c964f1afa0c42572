"""What stands on a plate is held to its plate's metal and its screws'."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitkit.flatten.develop_attachment import develop_attachment
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import PointAnchor
from fitkit.shop.attachment_plan import attachment_plan
from fitkit.shop.forming_step import FormingPlan, PlanCheck
from tests.truth import solids

HORN = AttachmentDesign("horn", "plate", PointAnchor(0.0, 0.0, 0.0), "tube", 20.0, 50.0, tabs=4)


def plan(material: str, plate: str, *, metal: str = "", tabs: int = 4) -> FormingPlan:
    design = replace(HORN, material=material, screw_metal=metal, tabs=tabs)
    panel = solids.cylinder_panel(150.0, 1.0, 160.0, 6.0)
    blank, _ = develop_attachment(design, panel, np.array([0.0, -150.0, 80.0]), 1.0)
    return attachment_plan(blank, plate_mm=1.0, plate_material=plate)


def contacts(material: str, plate: str, *, metal: str = "", tabs: int = 4) -> list[PlanCheck]:
    made = plan(material, plate, metal=metal, tabs=tabs)
    return [check for check in made.checks if check.code == "metals-apart"]


def test_usual_steel_screws_are_told_in_aluminium_on_either_side() -> None:
    for material, plate in (("card", "aluminium 3003-O"), ("aluminium 3003-O", "leather")):
        (check,) = contacts(material, plate)
        assert check.what == "screws at 'plate'"
        assert check.value.startswith("steel in aluminium, 0.18 V apart")
    assert contacts("card", "leather") == []
    assert contacts("steel", "steel") == []


def test_two_sheets_and_their_screws_are_told_once_each() -> None:
    told = contacts("brass", "aluminium 3003-O", metal="stainless")
    assert [check.value.split(",")[0] for check in told] == [
        "stainless in brass",
        "aluminium on brass",
        "stainless in aluminium",
    ]
    assert len(contacts("aluminium 3003-O", "aluminium 1100-O")) == 1


def test_what_has_no_tabs_is_glued_and_has_no_screws() -> None:
    assert contacts("brass", "aluminium 3003-O", tabs=0) == []


def test_screws_are_told_by_their_metal_where_one_is_asked_for() -> None:
    told = [line for step in plan("card", "card", metal="brass").steps for line in step.lines]
    assert any("brass screws M3 × 8" in line for line in told)
