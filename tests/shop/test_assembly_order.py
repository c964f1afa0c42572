"""Plates go together from the wearer outwards, and rivets before what covers them."""

from __future__ import annotations

import pytest

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.shop.assembly_order import AssemblyStep, assembly_order
from fitkit.shop.worn_plate import layers_of
from tests.shop.worn_barrel import barrel, belt, put_together


@pytest.fixture(scope="module")
def flats() -> list[FlatPatch]:
    return [*barrel(), belt()]


def over(flats: list[FlatPatch]) -> dict[str, tuple[str, ...]]:
    return {flat.design.name: flat.design.over for flat in flats}


def titles(steps: tuple[AssemblyStep, ...]) -> list[str]:
    return [step.title for step in steps]


def test_layers_count_from_the_wearer() -> None:
    lies = {"cap": ("breast",), "breast": (), "crest": ("cap", "back"), "back": ()}
    assert layers_of(lies) == {"breast": 1, "back": 1, "cap": 2, "crest": 3}


def test_a_pair_is_riveted_on_both_sides_each_to_its_own(flats: list[FlatPatch]) -> None:
    plates, joints, rows = put_together(flats)
    assert [(joint.lap, joint.plate) for joint in joints] == [(1, 3), (2, 4)]
    drawn = next(row for row in rows if row.joins)
    for joint, side in zip(joints, (1.0, -1.0), strict=True):
        assert joint.at_mm[:, 0] == pytest.approx(side * drawn.formed_mm[:, 0])
    assert [plate.called for plate in plates][:4] == [
        "1 upper, left", "2 upper, right", "3 lower, left", "4 lower, right"
    ]  # fmt: skip


def test_rows_that_a_belt_covers_are_riveted_before_it_goes_on(flats: list[FlatPatch]) -> None:
    plates, joints, _ = put_together(flats)
    assert all(joint.covered_by == (5,) for joint in joints)
    steps, findings = assembly_order(plates, joints, over(flats), held_by={5: ["1 × strap"]})
    order = titles(steps)
    assert order.index("Hang 5 belt") == len(order) - 1
    rivets = next(step for step in steps if step.title == "Rivet 1 upper, left to 3 lower, left")
    assert any("before 5 belt goes on" in line for line in rivets.lines)
    assert findings == ()


def test_a_plate_that_must_be_under_what_it_covers_is_told(flats: list[FlatPatch]) -> None:
    """The panels are said to lie over the belt, which stands outside their rivets."""
    wrong = {**over(flats), "upper": ("belt",)}
    plates, joints, _ = put_together(flats)
    steps, findings = assembly_order(plates, joints, wrong, held_by={5: ["1 × strap"]})
    assert {finding.code for finding in findings} == {"rivets-covered"}
    assert "belt" in findings[0].message
    assert len(titles(steps)) >= 3


def test_what_nothing_holds_is_noted_once_for_a_pair() -> None:
    flats = [flat for flat in barrel() if flat.design.name == "lower"]
    plates, joints, _ = put_together(flats)
    steps, findings = assembly_order(plates, joints, over(flats))
    assert [finding.code for finding in findings] == ["plate-not-held"]
    assert findings[0].where == "lower"
    assert len(steps) == 2


def test_what_stands_on_a_plate_is_set_before_it_is_joined(flats: list[FlatPatch]) -> None:
    plates, joints, _ = put_together(flats)
    steps, _ = assembly_order(plates, joints, over(flats), standing={3: ["6 spike, left"]})
    order = titles(steps)
    ready, joined = "Make ready 3 lower, left", "Rivet 1 upper, left to 3 lower, left"
    assert order.index(ready) < order.index(joined)
