"""Runs of straps against closed forms: round tubes, a cone, plates that sink."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.geodesic import shortest_path
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.holding.strap_run import StrapEnd, StrapRun, run_strap
from fitkit.holding.worn_sheet import WornSheet
from tests.truth import solids

RADIUS, ROOM, SHEET, STRAP = 100.0, 8.0, 1.0, 3.0


def point_on(mesh: TriangleMesh, at: Floats) -> SurfacePoint:
    points, faces, _ = nearest_on_mesh(mesh, at[None])
    return SurfacePoint(points[0], int(faces[0]))


def on_tube(turn_deg: float, z: float, radius: float = RADIUS) -> Floats:
    """Return a place so far round from the front towards the wearer's left."""
    turn = np.radians(turn_deg)
    return np.array([radius * np.sin(turn), -radius * np.cos(turn), z])


def tube_run(
    first_deg: float,
    last_deg: float,
    *,
    rise_mm: float = 0.0,
    half_deg: float = 60.0,
    body_mm: float = RADIUS - ROOM - 0.5 * SHEET,
    over_body: bool = False,
) -> StrapRun:
    """Lay a strap from a front panel to a back panel of a tube, each twice ``half_deg`` wide."""
    form = solids.cylinder(RADIUS, 300.0, 3.0, False)
    panel = solids.cylinder_panel(RADIUS, 2.0 * np.radians(half_deg), 300.0, 3.0)
    front = WornSheet("front", False, panel, SHEET)
    behind = panel.with_vertices(panel.vertices * np.array([-1.0, -1.0, 1.0]))
    back = WornSheet("back", False, behind, SHEET)
    body = solids.cylinder(body_mm, 300.0, 3.0, False)
    starts = on_tube(first_deg, 150.0), on_tube(last_deg, 150.0 + rise_mm)
    surface = body if over_body else form
    path = shortest_path(surface, *(point_on(surface, at) for at in starts))
    ends = [
        StrapEnd(sheet, point_on(sheet.mesh, at).point_mm, 10.0, 30.0)
        for sheet, at in zip((front, back), starts, strict=True)
    ]
    return run_strap(
        "side strap", surface, path, *ends, thickness_mm=STRAP, body=body, over_body=over_body
    )


@pytest.mark.parametrize("rise_mm", [0.0, 40.0])
def test_round_a_tube_it_is_as_long_as_its_helix(rise_mm: float) -> None:
    """A helix over an angle phi that rises by h is sqrt((R phi)^2 + h^2) long (closed form).

    R goes to the middle of the strap: half its thickness and half the sheet's outside the form.
    """
    run = tube_run(45.0, 135.0, rise_mm=rise_mm)
    middle = RADIUS + 0.5 * (SHEET + STRAP)
    assert run.length_mm == pytest.approx(np.hypot(middle * np.pi / 2.0, rise_mm), abs=0.15)
    # Its end on the first plate lies behind its first fastening.
    assert run.arc_mm[0] == pytest.approx(-30.0 * middle / RADIUS, abs=0.3)
    assert run.at(0.0)[0] == pytest.approx(on_tube(45.0, 150.0), abs=0.1)
    if rise_mm == 0.0:
        leaves, enters = run.edges_mm
        assert leaves == pytest.approx(middle * np.radians(15.0), abs=1.0)
        assert enters == pytest.approx(middle * np.radians(75.0), abs=1.0)


def test_places_at_the_edges_get_their_fastenings_inwards() -> None:
    run = tube_run(60.0, 120.0)
    middle = RADIUS + 0.5 * (SHEET + STRAP)
    assert run.length_mm == pytest.approx(middle * (np.pi / 3.0 + 20.0 / RADIUS), abs=0.5)
    assert run.edges_mm[0] == pytest.approx(10.0 * middle / RADIUS, abs=0.4)


def test_round_a_cone_it_is_the_straight_line_of_its_development() -> None:
    """On the sector of a cone shortest lines are straight: the cosine rule (closed form)."""
    radius, height = 120.0, 240.0
    cone = solids.frustum(radius, 0.25 * radius, 0.75 * height, 2.5, False)
    slant = float(np.hypot(radius, height))

    def place(turn_deg: float, z: float) -> Floats:
        return on_tube(turn_deg, z, radius * (1.0 - z / height))

    # Two patches of the cone round its places.
    ends = place(0.0, 60.0), place(80.0, 100.0)
    sheets = [
        WornSheet(str(k), False, cone.faces_only(np.flatnonzero(
            np.linalg.norm(cone.corners.mean(axis=1) - at, axis=1) < 45.0))[0], 1e-9)
        for k, at in enumerate(ends)
    ]  # fmt: skip
    path = shortest_path(cone, *(point_on(cone, at) for at in ends))
    run = run_strap(
        "strap",
        cone,
        path,
        StrapEnd(sheets[0], ends[0], 5.0, 10.0),
        StrapEnd(sheets[1], ends[1], 5.0, 10.0),
        thickness_mm=1e-9,
        body=cone,
    )
    from_tip = [slant * (1.0 - at[2] / height) for at in ends]
    turn = np.radians(80.0) * radius / slant
    straight = np.sqrt(from_tip[0] ** 2 + from_tip[1] ** 2
                       - 2.0 * from_tip[0] * from_tip[1] * np.cos(turn))  # fmt: skip
    assert run.length_mm == pytest.approx(straight, abs=0.15)


def test_bare_two_half_shells_meet_by_twice_the_room() -> None:
    """Shells that reach the sides go straight back and forth: each strap is shorter by 2 d.

    Between edges at bearings 89 and 91 degrees the strap runs all but straight.
    """
    run = tube_run(75.0, 105.0, half_deg=89.0)
    assert run.bare_change_mm == pytest.approx(-2.0 * ROOM, abs=0.3)


def test_bare_narrow_plates_sink_with_the_round() -> None:
    """Plates of angle 2 a on a tube sink by d: the straps are shorter by d (pi - 2 a + 2 sin a).

    First variation of the arc between them, closed form.
    """
    half = np.radians(60.0)
    run = tube_run(45.0, 135.0)
    expected = -ROOM * ((np.pi - 2.0 * half) + 2.0 * np.sin(half))
    assert run.bare_change_mm == pytest.approx(expected, rel=0.03)


def test_over_the_body_it_comes_down_between_the_plates() -> None:
    over_form = tube_run(45.0, 135.0)
    over_body = tube_run(45.0, 135.0, over_body=True)
    assert over_body.length_mm < over_form.length_mm - 2.0
    low = np.hypot(*over_body.at(0.5 * over_body.length_mm)[0][:2])
    assert low == pytest.approx(RADIUS - ROOM - 0.5 * SHEET, abs=0.1)
    # Where it lies on the skin, taking padding away only moves the plates.
    assert over_body.bare_change_mm == pytest.approx(-2.0 * ROOM * np.sin(np.radians(60)), rel=0.03)


def test_mirrored_it_is_as_long() -> None:
    there = tube_run(45.0, 130.0, rise_mm=25.0)
    other = tube_run(-45.0, -130.0, rise_mm=25.0)
    assert other.length_mm == pytest.approx(there.length_mm, abs=0.02)
    assert other.bare_change_mm == pytest.approx(there.bare_change_mm, abs=0.05)


def test_without_room_for_its_rivets_it_says_how_much_is_wanted() -> None:
    with pytest.raises(DesignError, match=r"no room on 'front'.*30 mm of plate behind.*17 mm"):
        tube_run(-10.0, 135.0, half_deg=20.0)
