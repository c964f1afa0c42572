"""Metals in touch, by the galvanic series in sea water."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fitkit.materials.galvanic import INDOORS_V, METALS, WET_V, couple, metal_of
from fitkit.materials.rivet import rivets
from fitkit.materials.sheet_material import sheet_materials


@pytest.mark.parametrize(
    ("first", "second", "eaten", "apart_v"),
    [
        ("aluminium", "copper", "aluminium", 0.43),
        ("steel", "aluminium", "aluminium", 0.18),
        ("steel", "copper", "steel", 0.25),
        ("stainless", "aluminium", "aluminium", 0.71),
    ],
)
def test_the_less_noble_metal_is_eaten(first: str, second: str, eaten: str, apart_v: float) -> None:
    """Sea water, against calomel: 3003 -0.79, carbon steel -0.61, copper -0.36, 304 -0.08 V.

    A printed galvanic series (seen).
    """
    for pair in (couple(first, second), couple(second, first)):
        assert pair.eaten == eaten
        assert pair.spared != eaten
        assert pair.apart_v == pytest.approx(apart_v)


def test_order_is_that_of_the_military_standard() -> None:
    """MIL-STD-889, sea water, active first: aluminium 3003, steel 1010, brass and copper.

    Then passive stainless steel; the order seen in a copy of its table.
    """
    ranks = [["aluminium"], ["steel"], ["brass", "copper"], ["stainless"]]
    for active, noble in pairwise(ranks):
        for one in active:
            for other in noble:
                assert couple(one, other).eaten == one
    assert couple("brass", "copper").apart_v < WET_V < INDOORS_V


def test_every_metal_sheet_and_every_rivet_is_known() -> None:
    families = {one.name: metal_of(one.name) for one in sheet_materials()}
    assert {name for name, metal in families.items() if metal is None} == {
        "card",
        "foam",
        "leather",
    }
    assert families["aluminium 3003-H14"] == "aluminium"
    assert all(set(rivet.metals) <= set(METALS) for rivet in rivets())
