"""Contacts that a pencil gives: hinged tubes, a visor on a ball, sleeves at an elbow."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.skin_body import SkinBody
from fitkit.motion.sweep import BODY, SweepSettings, Swept, sweep
from fitkit.motion.trim import plan_trims
from tests.motion.simple_plates import ball, bowl, hinge, plate, sheet_of, tube

# What the issue asks for.
ANGLE_DEG, DEPTH_MM = 0.5, 0.5
EXACT = SweepSettings(tolerance_mm=0.0, soft_mm=0.0)


def hinged_tubes(
    radius_mm: float, gap_mm: float, thickness_mm: float, to_deg: float
) -> tuple[SkinBody, list[RidingPlate], AskedRange]:
    """Two tubes that end a gap above and below a hinge across their middle."""
    body, asked = hinge(to_deg=to_deg)
    upper = tube(radius_mm, radius_mm, gap_mm, gap_mm + 150)
    lower = tube(radius_mm, radius_mm, -gap_mm - 150, -gap_mm)
    plates = [
        plate("upper", upper, beyond=False, thickness_mm=thickness_mm),
        plate("lower", lower, beyond=True, thickness_mm=thickness_mm),
    ]
    return body, plates, asked


@pytest.mark.parametrize(("radius", "gap", "thick"), [(50, 30, 0.01), (40, 45, 2.0), (60, 20, 1.0)])
def test_hinged_tubes_meet_where_their_inner_corners_reach_the_plane_between(
    radius: float, gap: float, thick: float
) -> None:
    """Both corners mirror each other in the plane between: gap cos h - r sin h = t / 2."""
    body, plates, asked = hinged_tubes(radius, gap, thick, 130.0)
    swept = sweep(body, plates, [asked], EXACT)[0]
    reach = float(np.hypot(radius, gap))
    half = np.arccos(0.5 * thick / reach) - np.arctan2(radius, gap)
    assert np.degrees(swept.free_rad) == pytest.approx(2 * np.degrees(half), abs=ANGLE_DEG)
    at = swept.contacts[0].at_mm
    assert np.hypot(at[0], at[1] + radius) < 4.0
    assert abs(abs(at[2]) - gap) < 0.1


def test_depth_is_how_far_a_corner_has_gone_past_the_other_tube() -> None:
    """At the end of the range the corner of one lies r - u inside the wall of the other."""
    radius, gap, to = 50.0, 30.0, 75.0
    body, plates, asked = hinged_tubes(radius, gap, 0.01, to)
    contact = sweep(body, plates, [asked], EXACT)[0].contacts[0]
    angle = np.radians(to) - np.arctan2(gap, radius)
    past = radius - np.hypot(radius, gap) * np.cos(angle)
    assert contact.depth_mm == pytest.approx(past, abs=DEPTH_MM)


def test_a_narrower_sleeve_meets_the_wider_one_from_within() -> None:
    """Its corner goes round the joint until it is as far out as the wider sleeve's wall."""
    wide, narrow, above, below = 50.0, 44.0, 22.0, 42.0
    body, asked = hinge(to_deg=110.0)
    plates = [
        plate("upper-arm sleeve", tube(56, wide, above, 180), beyond=False),
        plate("forearm sleeve", tube(48, narrow, -200, -below), beyond=True),
    ]
    reach = float(np.hypot(narrow, below))
    met = np.arccos(wide / reach)
    assert reach * np.sin(met) > above
    expected = np.degrees(met + np.arctan2(below, narrow))
    swept = sweep(body, plates, [asked], EXACT)[0]
    assert np.degrees(swept.free_rad) == pytest.approx(expected, abs=ANGLE_DEG)


def blade(inner_mm: float, outer_mm: float, at_deg: float) -> TriangleMesh:
    """Make a flat strip along a hinge about -x, from one distance to another, turned about it."""
    off, along = np.linspace(inner_mm, outer_mm, 9), np.linspace(-40.0, 40.0, 17)
    turn = np.radians(at_deg)
    grid = np.empty((len(off), len(along), 3))
    grid[..., 0] = along
    grid[..., 1] = -off[:, None] * np.sin(turn)
    grid[..., 2] = -off[:, None] * np.cos(turn)
    return sheet_of(grid)


@pytest.mark.parametrize(("gap", "thick", "at_deg"), [(0.6, 2.0, 27.5), (0.3, 1.0, 32.0),
                                                      (-0.5, 1.5, 43.0)])  # fmt: skip
def test_edges_that_butt_meet_between_two_looks(gap: float, thick: float, at_deg: float) -> None:
    """One edge passes another's, a chord of its circle away: at 5 degrees a step is 10 mm.

    The chord between radii r and r + g is a thickness at r^2 + (r+g)^2 - 2r(r+g) cos t = d^2; an
    edge that reaches past the other's touches its face at r sin t = d.
    """
    radius = 120.0
    body, asked = hinge(to_deg=60.0)
    plates = [
        plate("still", blade(radius + gap, 180.0, at_deg), beyond=False, thickness_mm=thick),
        plate("turned", blade(60.0, radius, 0.0), beyond=True, thickness_mm=thick),
    ]
    beyond = radius + gap
    chord = (radius**2 + beyond**2 - thick**2) / (2 * radius * beyond)
    before = np.arccos(chord) if gap > 0 else np.arcsin(thick / radius)
    swept = sweep(body, plates, [asked], EXACT)[0]
    expected = at_deg - np.degrees(before)
    assert np.degrees(swept.free_rad) == pytest.approx(expected, abs=ANGLE_DEG)
    if gap > 0:
        assert swept.contacts[0].depth_mm == pytest.approx(thick - gap, abs=DEPTH_MM)


def test_edges_that_pass_each_other_farther_off_do_not_meet() -> None:
    body, asked = hinge(to_deg=60.0)
    plates = [
        plate("still", blade(122.2, 180.0, 27.5), beyond=False, thickness_mm=2.0),
        plate("turned", blade(60.0, 120.0, 0.0), beyond=True, thickness_mm=2.0),
    ]
    assert sweep(body, plates, [asked], EXACT)[0].contacts == ()


def test_a_tube_that_telescopes_touches_nothing() -> None:
    """Turned about its own axis a narrower tube inside a wider one keeps its distance."""
    body, asked = hinge(axis=(0.0, 0.0, 1.0), to_deg=90.0)
    plates = [
        plate("outer", tube(50, 50, -50, 50), beyond=False, thickness_mm=2.0),
        plate("inner", tube(46, 46, -100, 20), beyond=True, thickness_mm=2.0),
    ]
    swept = sweep(body, plates, [asked], EXACT)[0]
    assert swept.contacts == ()
    # 96 corners round: a corner of the inner one comes 0.03 mm nearer to the outer's flats.
    assert swept.room_mm == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("axis", [(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.3, 0.2, 1.0)])
def test_a_visor_clears_a_ball_about_any_axis_through_its_middle(
    axis: tuple[float, float, float],
) -> None:
    body, asked = hinge(axis=axis, to_deg=90.0, skin=ball(100.0))
    visor = plate("visor", bowl(104.0, -0.5, 0.3, 1.2), beyond=True, thickness_mm=1.0)
    swept = sweep(body, [visor], [asked], EXACT)[0]
    assert swept.contacts == ()
    assert swept.room_mm == pytest.approx(3.5, abs=0.05)


def first_touch_deg(points: Floats, centre: Floats, axis: Floats, radius_mm: float) -> float:
    """Angle at which the first of points turned about an axis comes to a distance from the origin.

    |c + R u|^2 = |c|^2 + |u|^2 + 2 (c.a)(u.a) + 2 |c'||u'| cos(t - t0), primes square to the axis.
    """
    u = points - centre
    across = u - np.outer(u @ axis, axis)
    lever = centre - (centre @ axis) * axis
    both = np.linalg.norm(across, axis=1) * np.linalg.norm(lever)
    fixed = centre @ centre + np.einsum("ni,ni->n", u, u) + 2 * (centre @ axis) * (u @ axis)
    cos = (radius_mm**2 - fixed) / (2 * both)
    start = np.arctan2(across @ np.cross(axis, lever), across @ lever)
    reached = np.abs(cos) <= 1
    turn = np.mod(np.stack([1.0, -1.0])[:, None] * np.arccos(cos[reached]) - start[reached],
                  2 * np.pi)  # fmt: skip
    return float(np.degrees(turn.min()))


@pytest.mark.parametrize("centre", [(0.0, -9.0, 0.0), (0.0, 5.0, -10.0)])
def test_a_visor_off_its_axis_first_touches_where_its_nearest_point_comes_down(
    centre: tuple[float, float, float],
) -> None:
    axis = np.array([-1.0, 0.0, 0.0])
    body, asked = hinge(centre, (-1.0, 0.0, 0.0), 110.0, ball(100.0))
    mesh = bowl(104.0, -0.5, 0.3, 1.2)
    visor = plate("visor", mesh, beyond=True, thickness_mm=1.0)
    expected = first_touch_deg(mesh.vertices, np.array(centre), axis, 100.5)
    assert 5.0 < expected < 105.0
    swept = sweep(body, [visor], [asked], EXACT)[0]
    assert np.degrees(swept.free_rad) == pytest.approx(expected, abs=ANGLE_DEG)
    assert swept.contacts[0].other == BODY


def test_flesh_gives_way_by_what_is_allowed() -> None:
    """A plate that would touch later presses into the ball by no more than that."""
    centre, axis = np.array([0.0, -9.0, 0.0]), np.array([-1.0, 0.0, 0.0])
    body, asked = hinge((0.0, -9.0, 0.0), (-1.0, 0.0, 0.0), 110.0, ball(100.0))
    mesh = bowl(104.0, -0.5, 0.3, 1.2)
    visor = plate("visor", mesh, beyond=True, thickness_mm=1.0)
    soft = SweepSettings(tolerance_mm=0.0, soft_mm=2.0)
    expected = first_touch_deg(mesh.vertices, centre, axis, 98.5)
    found = sweep(body, [visor], [asked], soft)[0]
    assert np.degrees(found.free_rad) == pytest.approx(expected, abs=ANGLE_DEG)


def facts(swept: Swept) -> dict[tuple[str, ...], tuple[float, float]]:
    """Angle and depth by the pair that meets, whichever of it is named first."""
    return {
        tuple(sorted((one.plate, one.other))): (np.degrees(one.angle_rad), one.depth_mm)
        for one in swept.contacts
    }


def test_order_and_winding_of_what_goes_in_change_nothing() -> None:
    body, plates, asked = hinged_tubes(50, 30, 1.0, 90.0)
    plates.append(plate("third", tube(58, 58, 60, 120), beyond=False, thickness_mm=1.0))
    found = facts(sweep(body, plates, [asked], EXACT)[0])
    assert len(found) >= 1
    mixed = np.random.default_rng(3).permutation(len(plates[0].mesh.faces))
    turned = [
        plate(one.name, TriangleMesh(one.mesh.vertices, one.mesh.faces[mixed[: len(one.mesh.faces)]
              if one.name == "upper" else slice(None)][:, ::-1]), beyond=bool(one.shares),
              thickness_mm=1.0)
        for one in reversed(plates)
    ]  # fmt: skip
    again = facts(sweep(body, turned, [asked], EXACT)[0])
    assert again.keys() == found.keys()
    for pair, row in found.items():
        assert again[pair] == pytest.approx(row, abs=1e-3)


def test_a_mirrored_pair_gives_mirrored_findings() -> None:
    mirror = np.array([-1.0, 1.0, 1.0])
    body, asked = hinge(axis=(-1.0, 0.3, 0.0), to_deg=100.0)
    other, back = hinge(axis=(-1.0, -0.3, 0.0), to_deg=100.0)
    upper, lower = tube(50, 46, 30, 150), tube(48, 44, -150, -26)

    def flipped(mesh: TriangleMesh) -> TriangleMesh:
        return TriangleMesh(mesh.vertices * mirror, mesh.faces[:, ::-1])

    found = sweep(
        body, [plate("a", upper, beyond=False), plate("b", lower, beyond=True)], [asked], EXACT
    )[0]
    mirrored = sweep(
        other,
        [plate("a", flipped(upper), beyond=False), plate("b", flipped(lower), beyond=True)],
        [back],
        EXACT,
    )[0]
    for pair, row in facts(found).items():
        assert facts(mirrored)[pair] == pytest.approx(row, abs=0.05)
    assert mirrored.contacts[0].at_mm == pytest.approx(found.contacts[0].at_mm * mirror, abs=0.5)


def test_swept_backwards_the_same_plates_meet_at_the_same_angle() -> None:
    """Which of two plates is said to move is the maker's choice and changes nothing."""
    body, plates, asked = hinged_tubes(50, 30, 1.0, 90.0)
    forward = sweep(body, plates, [asked], EXACT)[0]
    swapped = [
        plate("upper", plates[0].mesh, beyond=True, thickness_mm=1.0),
        plate("lower", plates[1].mesh, beyond=False, thickness_mm=1.0),
    ]
    opposite, back = hinge(axis=(1.0, 0.0, 0.0), to_deg=90.0)
    backward = sweep(opposite, swapped, [back], EXACT)[0]
    assert backward.free_rad == pytest.approx(forward.free_rad, abs=np.radians(0.2))


def test_bad_settings_and_doubled_names_are_refused_with_a_remedy() -> None:
    with pytest.raises(InputError, match="15 degrees"):
        SweepSettings(step_rad=1.0)
    with pytest.raises(InputError, match="below zero"):
        SweepSettings(soft_mm=-1.0)
    body, plates, asked = hinged_tubes(50, 30, 1.0, 20.0)
    with pytest.raises(InputError, match="Two plates are called 'upper'"):
        sweep(body, [plates[0], plates[0]], [asked])


def dressed_elbow(
    order: Sequence[int], mirror: float
) -> tuple[SkinBody, list[RidingPlate], AskedRange]:
    """Three unlike plates and a ball of flesh at a hinge that stands askew, mirrored or not."""
    flip = np.array([mirror, 1.0, 1.0])

    def placed(mesh: TriangleMesh) -> TriangleMesh:
        faces = mesh.faces if mirror > 0 else mesh.faces[:, ::-1]
        return TriangleMesh(mesh.vertices * flip, faces)

    body, asked = hinge(axis=(-1.0, 0.25 * mirror, 0.1 * mirror), to_deg=105.0,
                        skin=placed(ball(38.0)))  # fmt: skip
    upper, lower = tube(50, 46, 30, 150), tube(47, 52, -150, -26)
    cop = bowl(62.0, -0.5, 0.6, 0.9)
    plates = [
        plate("upper", placed(upper), beyond=False, thickness_mm=1.0),
        plate("lower", placed(lower), beyond=True, thickness_mm=1.0),
        RidingPlate("cop", "cop", Side.CENTRE, placed(cop), 1.0, {"left elbow": 0.5}),
    ]
    return body, [plates[k] for k in order], asked


@cache
def dressed_facts(order: tuple[int, ...], mirror: float) -> tuple[Swept, dict[str, float], Swept]:
    """Return what stops the elbow, the area that each plate has to lose, and the range trimmed."""
    body, plates, asked = dressed_elbow(order, mirror)
    swept = sweep(body, plates, [asked], EXACT)
    trims, again = plan_trims(body, plates, swept, EXACT)
    return swept[0], {trim.patch: trim.area_mm2 for trim in trims}, again[0]


@pytest.mark.parametrize(("order", "mirror"), [((1, 2, 0), 1.0), ((2, 1, 0), -1.0)])
def test_findings_and_trims_are_the_same_re_ordered_and_mirrored(
    order: tuple[int, ...], mirror: float
) -> None:
    found, lost, after = dressed_facts((0, 1, 2), 1.0)
    assert len(found.contacts) >= 3
    assert lost
    other, other_lost, other_after = dressed_facts(order, mirror)
    assert facts(other).keys() == facts(found).keys()
    for pair, row in facts(found).items():
        assert facts(other)[pair] == pytest.approx(row, abs=0.25)
    first, twin = found.contacts[0], other.contacts[0]
    assert {first.plate, first.other} == {twin.plate, twin.other}
    assert other_lost == pytest.approx(lost, rel=0.02)
    assert other_after.free_rad == pytest.approx(after.free_rad, abs=np.radians(0.4))
    flip = np.array([mirror, 1.0, 1.0])
    at = [one.at_mm * flip for one in other.contacts if one.plate == first.plate]
    assert min(float(np.linalg.norm(place - first.at_mm)) for place in at) < 4.0
