"""Holes of pivots and lames stand in both plates they join, on the line through both."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.holding.fixing import Fixing
from fitkit.holding.worn_sheet import ACROSS, WornSheet
from fitkit.motion.lames import LameFastening
from fitkit.motion.moving_seats import lame_seats, pivot_seats
from fitkit.motion.pivot import PlacedPivot, pivot_sizes
from tests.truth import solids

INNER, OUTER = 60.0, 63.0


def shell(name: str, radius: float, z: float, *, twin: bool = False, x: float = 0.0) -> WornSheet:
    mesh = solids.cylinder_panel(radius, np.radians(200.0), 80.0, 3.0)
    moved = mesh.vertices + np.array([x, 0.0, z])
    material = "steel" if name == "cap" else "aluminium 3003-O"
    return WornSheet(name, twin, mesh.with_vertices(moved), 1.0, twin, material)


def test_pivot_goes_through_the_plate_and_what_carries_it() -> None:
    """Both holes of each lie on one ray from the axis: on concentric tubes at the same bearing."""
    visor, cap = shell("visor", OUTER, 40.0), shell("cap", INNER, 0.0)
    far = shell("collar", INNER, -300.0)
    holes = np.array([[OUTER, 0.0, 60.0], [-OUTER, 0.0, 60.0]])
    seats = pivot_seats(PlacedPivot("visor", "neck", 4.0, holes, 0.0), [visor, cap, far], "brass")
    assert [seat.patch for seat in seats] == ["visor", "cap"]
    sizes = pivot_sizes(4.0)
    for seat, radius in zip(seats, (OUTER, INNER), strict=True):
        assert seat.holes_mm == pytest.approx(holes * [radius / OUTER, 1.0, 1.0], abs=0.1)
        assert seat.hole_mm == sizes["hole_mm"] == 4.3
        assert "washer 12 mm, recess 13 mm" in seat.words
    assert [seat.fixing for seat in seats] == [
        Fixing(metal="brass", meets=("steel",)),
        Fixing(metal="brass", meets=("aluminium 3003-O",)),
    ]


def test_pivot_of_a_pair_is_on_its_twin_and_across_on_the_middle_plate() -> None:
    wing = shell("wing", OUTER, 40.0, x=100.0)
    twin = WornSheet("wing", True, wing.mesh.with_vertices(wing.mesh.vertices * ACROSS), 1.0, True)
    under = solids.plane_rectangle(400.0, 200.0, 8.0)
    moved = under.vertices + np.array([-200.0, -55.0, 0.0])
    middle = WornSheet("bib", False, under.with_vertices(moved), 1.0)
    holes = np.array([[100.0, -OUTER, 60.0], [100.0, -OUTER, 100.0]])
    seats = pivot_seats(PlacedPivot("wing", "left knee", 4.0, holes, 0.0), [wing, twin, middle])
    assert [(seat.patch, seat.twin) for seat in seats] == [
        ("wing", False),
        ("bib", False),
        ("wing", True),
        ("bib", False),
    ]
    # As drawn the twin has them in the same place; the middle plate has both sides' own.
    assert seats[2].holes_mm == pytest.approx(seats[0].holes_mm, abs=1e-6)
    assert seats[3].holes_mm == pytest.approx(seats[1].holes_mm * ACROSS, abs=1e-6)


def test_lames_get_two_pivots_each_and_a_slot_for_the_slide() -> None:
    upper, lower = shell("guard 1", OUTER, 60.0), shell("guard 2", INNER, 0.0)
    fastening = LameFastening(
        "guard 1",
        "guard 2",
        np.array([[INNER, 0.0, 70.0], [-INNER, 0.0, 70.0]]),
        np.array([0.0, -INNER, 70.0]),
        15.5,
        np.array([[0.0, -INNER, 70.0], [0.0, -INNER, 82.0]]),
        0.0,
    )
    over, under = lame_seats(fastening, [upper, lower], 3.5, "copper")
    assert (over.patch, under.patch) == ("guard 1", "guard 2")
    assert len(over.holes_mm) == 4
    assert len(under.holes_mm) == 3
    # Centre to centre the travel; over its ends a hole's width more.
    (slot,) = over.slots_mm
    assert np.linalg.norm(slot[1] - slot[0]) == pytest.approx(12.0, abs=1e-6)
    assert len(under.slots_mm) == 0
    assert np.hypot(*over.holes_mm[:, :2].T) == pytest.approx(OUTER, abs=0.1)
    assert "slot 16 × 3.5 mm" in over.words
    assert over.fixing == under.fixing == Fixing(metal="copper", meets=("aluminium 3003-O",))
