"""What is bought: counted once for each rivet that is set, on both sides of a pair."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.relief_cuts import SurfaceCut
from fitkit.holding.bought import Bought
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import EdgeTreatment, LandmarkAnchor, RivetRow
from fitkit.shop.hardware_list import HardwareItem, OwnHardware, hardware_csv, hardware_list
from fitkit.shop.moving_hardware import lame_hardware, pivot_hardware
from fitkit.spreadsheet import read_spreadsheet
from tests.shop.worn_barrel import RIVETED, barrel, put_together, with_edges
from tests.template.parts import rectangle
from tests.truth import solids


def items(**kwargs: object) -> dict[str, HardwareItem]:
    flats = barrel()
    plates, joints, _ = put_together(flats)
    made = hardware_list(flats, plates, joints, **kwargs)  # type: ignore[arg-type]
    return {one.item: one for one in made}


def test_rivets_are_counted_where_they_are_set() -> None:
    """Two 1 mm sheets: 3.2 by 6 closes 1.5 to 3.5 mm (ISO 15981)."""
    flats = barrel()
    _, joints, rows = put_together(flats)
    in_lap = next(len(row.holes_mm) for row in rows if row.joins)
    rivet = items()["aluminium blind rivet"]
    assert rivet.size == "3.2 × 6"
    assert rivet.needed == 2 * in_lap == sum(len(joint.at_mm) for joint in joints)
    assert rivet.spare == max(3, -(-rivet.needed // 10))
    assert rivet.to_buy == rivet.needed + rivet.spare


def test_lengths_of_blind_rivets_of_another_metal_are_to_be_checked() -> None:
    """ISO 15981 gives the grips of aluminium bodies alone."""
    flats = barrel()
    for name, told in (
        ("blind 3.2 stainless", "check the stainless rivet's own in its maker's data sheet"),
        ("blind 3.2", ""),
        ("solid 3.2 copper", ""),
    ):
        edge = replace(RIVETED, rivets=RivetRow(name))
        upper = with_edges(flats[0], {"waist": edge})
        plates, joints, rows = put_together([upper, flats[1]])
        (rivet,) = [
            one
            for one in hardware_list(flats, plates, joints, rows=rows)
            if one.item.endswith("rivet")
        ]
        assert rivet.note.endswith(told)
        assert bool(rivet.note) == bool(told)


def test_wire_is_as_long_as_the_formed_edges_and_a_little_over() -> None:
    flats = barrel()
    (edge,) = [edge for edge in flats[1].outline if edge.line == "hem"]
    wire = items()["edge wire"]
    assert wire.needed == 2
    assert wire.length_mm == pytest.approx(2 * (edge.formed_arc_mm[-1] + 20.0), abs=10.0)


def test_leather_asks_for_washers() -> None:
    flats = [replace(flat, design=replace(flat.design, material="leather")) for flat in barrel()]
    plates, joints, _ = put_together(flats)
    found = {one.item: one for one in hardware_list(flats, plates, joints)}
    assert found["washer"].needed == found["aluminium blind rivet"].needed
    assert "washer" not in items()


def test_laps_of_a_plate_and_its_own_twin_are_riveted_each_on_the_other() -> None:
    """120 mm between ends 8 mm in, pitch up to 16: 104 / 16 gives 7 gaps, 8 rivets; two laps.

    The rectangle's inner edge lies on the middle line; its outer edge meets nothing.
    """
    edges = {"inner": RIVETED, "outer": RIVETED}
    flat = with_edges(rectangle(), edges, side=Side.LEFT, paired=True)
    plates, joints, _ = put_together([flat])
    assert [(joint.lap, joint.plate, joint.line) for joint in joints] == [
        (1, 2, "inner"),
        (2, 1, "inner"),
    ]
    (rivet,) = hardware_list([flat], plates, joints)
    assert rivet.needed == 16


def test_tabs_take_screws_and_own_rows_are_doubled_on_a_pair() -> None:
    spike = AttachmentDesign("spike", "upper", LandmarkAnchor("x"), "spike", 40.0, 60.0, tabs=4)
    own = (OwnHardware("strap", 1, "upper", 200.0), OwnHardware("glue"))
    found = items(attachments=[spike], own=own)
    assert found["steel screw"].needed == 8
    assert found["steel screw"].size == "M3 × 8 with lock nut"
    assert (found["strap"].needed, found["glue"].needed) == (2, 1)
    stainless = items(attachments=[replace(spike, screw_metal="stainless")])
    assert stainless["stainless screw"].needed == 8
    assert "steel screw" not in stainless


def test_table_reads_back() -> None:
    rows = read_spreadsheet(hardware_csv(tuple(items().values())))
    assert rows[0]["item"] == "aluminium blind rivet"
    assert int(rows[0]["to_buy"]) == int(rows[0]["needed"]) + int(rows[0]["spare"])
    assert [row["item"] for row in rows] == ["aluminium blind rivet", "edge wire"]


def test_a_riveted_cut_takes_rivets_on_both_sides_and_a_strip_behind() -> None:
    """A cap of radius 150 mm with one cut, made in a pair: rows and strips count twice."""
    at = 150.0 * np.array([[math.sin(a), 0.0, math.cos(a)] for a in (1.2, 0.4)])
    patch = solids.patch_of(
        solids.spherical_cap(150.0, 1.2, 14.0), name="cap", material="aluminium", thickness_mm=1.0,
        side=Side.LEFT, paired=True,
        edges={"cut": EdgeTreatment("lap", 0.0, rivets=RIVETED.rivets)},
    )  # fmt: skip
    flat = flatten_patch(patch, cuts=[SurfaceCut(at[0], at[1])])
    plates, joints, rows = put_together([flat])
    found = {one.item: one for one in hardware_list([flat], plates, joints, rows=rows)}
    assert joints == ()
    holes = sum(len(row.holes_mm) for row in rows)
    assert holes >= 8
    assert found["aluminium blind rivet"].needed == 2 * holes
    strips = found["strip behind a cut"]
    assert strips.needed == 2
    # 0.8 radian of 150 mm; 32 mm wide as the template says.
    assert strips.size.startswith("32 × 12")


def test_pivots_and_lames_are_bought_for_both_sides() -> None:
    screws, washers = pivot_hardware("visor", 4.0, paired=False)
    assert (screws.count, washers.count, washers.size) == (2, 2, "12 mm wide, for 4 mm")
    assert pivot_hardware("wing", 4.0, paired=True)[0].count == 4
    pivots, slides = lame_hardware("guard", ["a", "b", "c"], 3.5, paired={"a", "b", "c"})
    assert (pivots.count, slides.count) == (8, 4)
    assert lame_hardware("guard", ["a"], 3.5, paired=()) == ()
    assert (screws.item, pivots.item) == ("pivot screw or rivet", "pivot rivet")
    (brass, _) = pivot_hardware("visor", 4.0, paired=False, metal="brass")
    assert brass.item == "brass pivot screw or rivet"
    copper = lame_hardware("guard", ["a", "b"], 3.5, paired=(), metal="copper")
    assert [one.item for one in copper] == ["copper pivot rivet", "copper sliding rivet"]


def test_what_straps_want_is_listed_with_spare_rivets() -> None:
    bought = (
        Bought("buckle", "25 mm", 2, "side strap", ("breast", "back")),
        Bought("blind rivet", "4 × 8", 4, "side strap", ("breast", "back")),
        Bought("hook tape", "20 mm", 2, "arm strap", ("cap", "cap"), 60.0, "sewn on"),
    )
    buckle, rivet, tape = hardware_list([], [], [], bought=bought)
    assert (buckle.item, buckle.to_buy, buckle.where) == ("buckle", 2, "'side strap'")
    assert (rivet.needed, rivet.spare) == (4, 3)
    assert (tape.length_mm, tape.spare, tape.note) == (60.0, 0, "sewn on")
