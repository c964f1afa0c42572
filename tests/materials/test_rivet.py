"""Rivets against the handbooks' rules and worked examples."""

from __future__ import annotations

import pytest

from fitkit.errors import InputError
from fitkit.materials.rivet import rivet_for_stack, rivet_named, rivets, screw_for_hole


def test_two_one_millimetre_sheets_as_in_the_worked_example() -> None:
    """D about 3 x t (study guide after FAA); length grip + 1.5 D (Navy); edge 2 D (AC 43.13-1B)."""
    solid = rivet_for_stack((1.0, 1.0), kind="solid")
    assert solid.diameter_mm == 3.2
    assert solid.length_for(2.0) == pytest.approx(6.8)
    assert solid.stock_length_for(2.0) == 7.0
    assert solid.least_edge_mm == pytest.approx(6.4)
    assert solid.good_edge_mm == pytest.approx(8.0)
    assert solid.lap_mm == pytest.approx(16.0)
    assert solid.pitch_range_mm == pytest.approx((9.6, 32.0))


def test_blind_rivet_through_metal_and_leather() -> None:
    """3.2 mm through 1 + 2 + 1 mm: grip 4.0 takes length 8 (ISO 15981)."""
    assert rivet_named("blind 3.2").length_for(4.0) == 8.0


def test_forty_thousandths_sheets_in_inches() -> None:
    """Two 0.040 in sheets, 1/8 in: 0.2675 in (worked by the Navy's rule)."""
    solid = rivet_named("solid 3.2")
    inches = solid.length_for(2 * 0.040 * 25.4) / 25.4
    assert inches == pytest.approx(0.080 + 1.5 * 3.2 / 25.4, abs=1e-9)
    assert inches == pytest.approx(0.2675, abs=0.002)  # 1/8 in is 3.175 mm, named 3.2


def test_screws_take_the_nut_and_a_millimetre_of_thread_beyond_the_stack() -> None:
    """M4 through 3.0 mm with a 5 mm lock nut (DIN 985, from memory): 9 mm, so 10 as sold."""
    screw = rivet_named("screw M4")
    assert screw is rivet_named("screw 4") or screw == rivet_named("screw 4")
    assert screw.stock_length_for(3.0) == 10.0
    assert screw.hole_mm == (4.3, 4.5)
    assert screw.size_in_words(10.0) == "M4 × 10 with lock nut"
    assert rivet_named("post 5").stock_length_for(4.5) == 6.0
    assert rivet_named("post 5").noun == "screw post"


def test_a_countersunk_rivet_keeps_two_and_a_half_diameters() -> None:
    """Study guide after FAA practice: 2.5 D for countersunk heads, 2 D for the others."""
    sunk = rivet_named("solid 3.2 countersunk")
    assert sunk.least_edge_mm == pytest.approx(8.0)
    assert rivet_named("solid 3.2").least_edge_mm == pytest.approx(6.4)
    assert sunk.head_mm == pytest.approx(0.042 * 25.4, abs=0.01)
    assert sunk.name == "solid 3.2 countersunk"
    with pytest.raises(InputError):
        rivet_named("blind 3.2 countersunk")


def test_table_is_in_order_and_its_grips_join_up() -> None:
    for rivet in rivets():
        assert rivet.diameter_mm < rivet.hole_mm[0] <= rivet.hole_mm[1] or rivet.kind == "solid"
        for shorter, longer in zip(rivet.lengths_mm, rivet.lengths_mm[1:], strict=False):
            assert shorter[0] < longer[0]
            assert shorter[2] == pytest.approx(longer[1])


def test_rivet_is_never_thinner_than_its_sheet_where_the_table_allows() -> None:
    assert rivet_for_stack((4.0, 1.0)).diameter_mm >= 4.0
    assert rivet_for_stack((0.5, 0.5)).diameter_mm == 2.4


def test_stack_that_nothing_closes_is_refused_with_a_way_out() -> None:
    with pytest.raises(InputError, match="closes a stack of 20 mm") as caught:
        rivet_for_stack((10.0, 10.0))
    assert "screw and post" in caught.value.remedy
    with pytest.raises(InputError, match="they take"):
        rivet_named("blind 4.8").length_for(0.5)


@pytest.mark.parametrize("name", ["blind 3", "pop 3.2", "", "blind", "solid x"])
def test_unknown_rivet_names_the_known(name: str) -> None:
    with pytest.raises(InputError) as caught:
        rivet_named(name)
    assert "blind 3.2" in caught.value.remedy


@pytest.mark.parametrize(("hole", "diameter"), [(3.2, 3.0), (4.2, 3.0), (4.3, 4.0), (5.5, 5.0)])
def test_screw_for_a_hole_by_the_fine_series(hole: float, diameter: float) -> None:
    """ISO 273 fine: M3 3.2, M4 4.3, M5 5.3 (from memory)."""
    assert screw_for_hole(hole).diameter_mm == diameter


def test_hole_that_no_screw_goes_through_is_refused() -> None:
    with pytest.raises(InputError, match="through a 1 mm hole"):
        screw_for_hole(1.0)


def test_a_rivets_metal_is_part_of_its_name_unless_it_is_the_usual() -> None:
    copper = rivet_named("solid 3.2 countersunk Copper")
    assert (copper.made_of, copper.name) == ("copper", "solid 3.2 copper countersunk")
    assert rivet_named(copper.name) == copper
    assert copper.noun == "copper countersunk solid rivet"
    assert rivet_named("blind 4 aluminum") == rivet_named("blind 4 mm")
    assert rivet_named("blind 4").noun == "blind rivet"
    assert rivet_named("blind 4").noun_with_metal == "aluminium blind rivet"
    assert rivet_named("screw M4").made_of == "steel"
    with pytest.raises(InputError, match="no blind 4 of brass") as caught:
        rivet_named("blind 4 brass")
    assert caught.value.remedy == "Choose one of: aluminium, steel, stainless, copper."
