"""Fasteners go through both plates, suit the load, and are told when nothing gets at them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.holding.fastener import (
    FastenerDesign,
    FastenerKind,
    LaidFastener,
    advised,
    lay_fastener,
)
from fitkit.holding.reach import reach, reach_finding
from fitkit.holding.worn_sheet import WornSheet
from fitkit.patch.design import PointAnchor
from tests.truth import solids

INNER, OUTER = 80.0, 83.0
DESIGN = FastenerDesign("cap catch", ("cap", "breast"), PointAnchor(0.0, 0.0, 0.0))


def panel(name: str, radius: float, *, thickness: float = 1.0, angle: float = 2.0) -> WornSheet:
    return WornSheet(name, False, solids.cylinder_panel(radius, angle, 160.0, 3.0), thickness)


def at(turn_deg: float, radius: float, z: float = 80.0) -> Floats:
    turn = np.radians(turn_deg)
    return np.array([radius * np.sin(turn), -radius * np.cos(turn), z])


def laid(kind: FastenerKind | None = None, *, turn_deg: float = 20.0, **more: bool) -> LaidFastener:
    design = dataclasses.replace(DESIGN, kind=kind, **more)  # type: ignore[arg-type]
    sheets = panel("cap", OUTER, thickness=2.0), panel("breast", INNER)
    return lay_fastener(design, sheets, at(turn_deg, OUTER), soft=False)


def test_kind_follows_load_and_use() -> None:
    assert advised("heavy", often=False, soft=False)[0] == "screw and post"
    assert advised("medium", often=True, soft=False)[0] == "turn button"
    assert advised("light", often=True, soft=False)[0] == "magnet"
    assert advised("light", often=True, soft=True)[0] == "hook and loop"
    assert "[[strap]]" in advised("heavy", often=True, soft=False)[1]


def test_post_stands_in_both_plates_on_one_ray() -> None:
    one = laid("screw and post")
    outer, inner = one.seats
    assert outer.holes_mm == pytest.approx(at(20.0, OUTER)[None], abs=0.1)
    assert inner.holes_mm == pytest.approx(at(20.0, INNER)[None], abs=0.1)
    assert outer.hole_mm == inner.hole_mm == 5.1
    (post,) = one.bought
    assert (post.item, post.size, post.count) == ("aluminium screw post", "5 × 4", 1)
    assert one.tool == "driver"


def test_turn_button_wants_a_slot_above_and_a_rivet_below() -> None:
    outer, inner = laid("turn button").seats
    (slot,) = outer.slots_mm
    # 21 mm over its ends, of 9 mm holes, upright on the wearer.
    assert np.linalg.norm(slot[1] - slot[0]) == pytest.approx(12.0, abs=0.05)
    assert np.abs(slot[1] - slot[0])[2] == pytest.approx(12.0, abs=0.05)
    assert (outer.hole_mm, inner.hole_mm, len(inner.holes_mm)) == (9.0, 3.3, 1)


@pytest.mark.parametrize("kind", ["hook and loop", "magnet"])
def test_what_is_glued_drills_nothing(kind: FastenerKind) -> None:
    one = laid(kind, paired=True)
    assert [seat.twin for seat in one.seats] == [False] * 4
    assert all(len(seat.holes_mm) == 0 and len(seat.outline_mm) for seat in one.seats)
    # On a plate in the middle the other side's lies across.
    assert one.seats[2].outline_mm[:, 0].mean() == pytest.approx(
        -one.seats[0].outline_mm[:, 0].mean()
    )
    assert all(row.count in (2, 4) for row in one.bought)


def test_beside_a_plate_it_is_refused() -> None:
    with pytest.raises(DesignError, match="'cap' ends before it"):
        laid("magnet", turn_deg=70.0)


def test_bare_plate_is_reached_and_a_lid_over_it_shuts_it() -> None:
    place, out = at(0.0, INNER), at(0.0, 1.0, 0.0)
    far = panel("far", 400.0)
    assert reach(place, out, "hand", []).free_share == 1.0
    assert reach(place, out, "driver", [far]).free_share == 1.0
    lid = panel("lid", INNER + 30.0, angle=3.0)
    for tool in ("hand", "driver"):
        shut = reach(place, out, tool, [far, lid])
        assert shut.free_share == 0.0
        found = reach_finding("catch", tool, shut)
        assert found is not None
        assert "'lid' is in the way" in found.message


def test_hand_comes_in_aslant_where_no_driver_does() -> None:
    """A bar over the fastening stops what comes square, not what comes from the side."""
    place, out = np.array([200.0, 0.0, 200.0]), np.array([0.0, -1.0, 0.0])
    bar = solids.plane_rectangle(40.0, 400.0, 8.0)
    moved = bar.vertices + np.array([180.0, -120.0, 0.0])
    over = WornSheet("bar", False, bar.with_vertices(moved), 1.0)
    assert reach(place, out, "driver", [over]).free_share == 0.0
    hand = reach(place, out, "hand", [over])
    assert 0.0 < hand.free_share < 1.0
    assert hand.blocked_by == "bar"
    assert reach_finding("catch", "hand", hand) is None
