"""Trim lines free the range, lose hardly more than they must, and leave the plate whole."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.topology import components
from fitkit.motion.sweep import SweepSettings, sweep
from fitkit.motion.trim import plan_trims
from tests.motion.simple_plates import hinge, plate, tube

EXACT = SweepSettings(tolerance_mm=0.1, soft_mm=0.0)
RADIUS, GAP, TO_DEG = 50.0, 30.0, 105.0


def least_area_mm2(radius: float, gap: float, to_deg: float) -> float:
    """Area of one tube beyond the plane that halves the angle: what it must lose at least.

    Every place beyond it is met by its own mirror image on the other tube, at the angle whose half
    plane passes through it. Depth r cos b tan h - gap over the bearing b, where above zero.
    """
    slope = radius * np.tan(np.radians(to_deg) / 2)
    edge = np.arccos(gap / slope)
    return float(2 * radius * (slope * np.sin(edge) - gap * edge))


def swept_by_brute_force_mm2(radius: float, gap: float, to_deg: float) -> float:
    """Return the same area with no formula: little cells, each held against every angle.

    A cell is lost when the other tube's wall comes over it at some angle, that is when, seen from
    the other tube, it changes from outside its wall to inside above its rim.
    """
    bearing = np.linspace(-np.pi, np.pi, 361)[:-1]
    height = -gap - np.arange(0.25, 80.0, 0.5)
    y = np.repeat(-radius * np.cos(bearing)[None], len(height), 0)
    x = np.repeat(radius * np.sin(bearing)[None], len(height), 0)
    z = np.repeat(height[:, None], len(bearing), 1)
    outside_before = np.ones_like(y, dtype=bool)
    lost = np.zeros_like(outside_before)
    for angle in np.radians(np.arange(0.0, to_deg + 0.01, 0.2)):
        cos, sin = np.cos(angle), np.sin(angle)
        # Turned towards the front and up about -x.
        turned_y, turned_z = cos * y + sin * z, -sin * y + cos * z
        outside = np.hypot(x, turned_y) > radius
        lost |= outside_before & ~outside & (turned_z > gap)
        outside_before = outside
    cell = 0.5 * radius * (bearing[1] - bearing[0])
    return float(lost.sum() * cell)


def test_the_formula_is_what_brute_force_finds() -> None:
    formula = least_area_mm2(RADIUS, GAP, TO_DEG)
    assert swept_by_brute_force_mm2(RADIUS, GAP, TO_DEG) == pytest.approx(formula, rel=0.03)


def test_a_trim_frees_the_range_and_loses_at_most_a_fifth_more_than_it_must() -> None:
    body, asked = hinge(to_deg=TO_DEG)
    plates = [
        plate("upper", tube(RADIUS, RADIUS, GAP, 180.0), beyond=False),
        plate("lower", tube(RADIUS, RADIUS, -180.0, -GAP), beyond=True),
    ]
    swept = sweep(body, plates, [asked], EXACT)
    assert swept[0].contacts
    trims, again = plan_trims(body, plates, swept, EXACT, margin_mm=0.0)
    assert again[0].contacts == ()
    assert len(trims) == 1
    trim = trims[0]
    least = least_area_mm2(RADIUS, GAP, TO_DEG)
    assert least < trim.area_mm2 < 1.2 * least
    deep = RADIUS * np.tan(np.radians(TO_DEG) / 2) - GAP
    assert trim.width_mm == pytest.approx(deep, abs=3.0)
    assert trim.frees == (asked.name,)
    assert components(trim.kept).max() == 0
    # Swept afresh with what is left, from the outside of this function.
    kept = [
        plate(one.name, trim.kept if one.name == trim.patch else one.mesh, beyond=bool(one.shares))
        for one in plates
    ]
    assert sweep(body, kept, [asked], EXACT)[0].contacts == ()


def random_ovals(
    count: int, low_mm: float, high_mm: float
) -> list[tuple[float, float, float, float]]:
    """Half axes across and in depth, gap and angle, of tubes that lose so much in depth."""
    rng = np.random.default_rng(11)
    found = []
    while len(found) < count:
        wide, deep = rng.uniform(35.0, 65.0, 2)
        gap, to_deg = rng.uniform(15.0, 40.0), rng.uniform(60.0, 115.0)
        if low_mm < deep * np.tan(np.radians(to_deg) / 2) - gap < high_mm:
            found.append((float(wide), float(deep), float(gap), float(to_deg)))
    return found


@pytest.mark.parametrize(
    ("wide", "deep", "gap", "to_deg"), [*random_ovals(5, 15, 40), *random_ovals(4, 6, 15)]
)
def test_trims_of_random_oval_tubes_lose_at_most_a_fifth_more_than_they_must(
    wide: float, deep: float, gap: float, to_deg: float
) -> None:
    """The least is what lies beyond the plane that halves the angle, summed over the bearing."""
    body, asked = hinge(to_deg=to_deg)
    plates = [
        plate("upper", tube(wide, deep, gap, 180.0), beyond=False),
        plate("lower", tube(wide, deep, -180.0, -gap), beyond=True),
    ]
    swept = sweep(body, plates, [asked], EXACT)
    trims, again = plan_trims(body, plates, swept, EXACT, margin_mm=0.0)
    assert again[0].contacts == ()
    bearing = np.linspace(-np.pi, np.pi, 4001)
    depth = np.maximum(deep * np.cos(bearing) * np.tan(np.radians(to_deg) / 2) - gap, 0.0)
    along = np.hypot(wide * np.cos(bearing), deep * np.sin(bearing))
    least = float((depth * along).sum() * (bearing[1] - bearing[0]))
    # The sheets touch at half their thickness and the tolerance, a hair before the middles meet.
    assert 0.97 * least < sum(trim.area_mm2 for trim in trims) < 1.2 * least


def test_edges_that_butt_are_cut_until_nothing_along_them_meets() -> None:
    """The first cut leaves what is beside it in touch: one look and one cut do not do."""
    body, asked = hinge(to_deg=10.0)
    plates = [
        plate("upper", tube(130.0, 90.0, 0.4, 150.0), beyond=False),
        plate("lower", tube(130.0, 90.0, -150.0, -0.4), beyond=True),
    ]
    swept = sweep(body, plates, [asked])
    assert swept[0].contacts
    trims, again = plan_trims(body, plates, swept, SweepSettings())
    assert again[0].contacts == ()
    assert {trim.patch for trim in trims} == {"upper", "lower"}


def test_a_plate_to_be_kept_leaves_the_trim_to_the_other() -> None:
    body, asked = hinge(to_deg=80.0)
    plates = [
        plate("upper", tube(RADIUS, RADIUS, GAP, 180.0), beyond=False),
        plate("lower", tube(RADIUS, RADIUS, -180.0, -GAP), beyond=True),
    ]
    swept = sweep(body, plates, [asked], EXACT)
    for kept in ("upper", "lower"):
        trims, again = plan_trims(body, plates, swept, EXACT, keep=[kept])
        assert [trim.patch for trim in trims] == [{"upper": "lower", "lower": "upper"}[kept]]
        assert again[0].contacts == ()
    assert plan_trims(body, plates, swept, EXACT, keep=["upper", "lower"])[0] == ()


def test_nothing_is_trimmed_where_everything_is_free() -> None:
    body, asked = hinge(to_deg=40.0)
    plates = [
        plate("upper", tube(RADIUS, RADIUS, GAP, 180.0), beyond=False),
        plate("lower", tube(RADIUS, RADIUS, -180.0, -GAP), beyond=True),
    ]
    assert plan_trims(body, plates, sweep(body, plates, [asked], EXACT), EXACT) == ((), ())
