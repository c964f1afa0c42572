"""Attachments against closed forms: where they meet the plate and how they unroll."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.flatten.attachment_blank import AttachmentBlank
from fitkit.flatten.attachment_seat import plate_outside, seat_of
from fitkit.flatten.develop_attachment import develop_attachment
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import PointAnchor
from tests.truth import solids

HERE = PointAnchor(0.0, 0.0, 0.0)
THIN = 1e-6


def design(kind: str, **more: object) -> AttachmentDesign:
    base = AttachmentDesign("crest", "plate", HERE, "cone", 60.0, 80.0, thickness_mm=THIN)
    return dataclasses.replace(base, kind=kind, **more)  # type: ignore[arg-type]


def edge(blank: AttachmentBlank, line: str) -> Floats:
    return next(e.points_mm for e in blank.edges if e.line == line)


@pytest.mark.parametrize("thickness_mm", [0.0, 1.5])
def test_tube_on_a_tube_is_cut_along_their_intersection(thickness_mm: float) -> None:
    """Two round tubes square to each other, r on R, are cut sqrt(R^2 - r^2 sin^2) from R's axis.

    Closed form of descriptive geometry (the intersection of two cylinders whose axes meet at right
    angles); the development's abscissa is the arc r phi.
    """
    big, small = 80.0, 30.0
    panel = solids.cylinder_panel(big, 2.0, 160.0, 4.0)
    at = np.array([0.0, -big, 80.0])
    blank, seat = develop_attachment(design("tube"), panel, at, thickness_mm)
    outer = big + 0.5 * thickness_mm
    foot, top = edge(blank, "foot"), edge(blank, "top")
    assert np.ptp(foot[:, 0]) == pytest.approx(2.0 * np.pi * small, abs=0.02)
    assert top[:, 1] == pytest.approx(top[0, 1], abs=1e-6)
    phi = (foot[:, 0] - foot[0, 0]) / small
    depth = np.sqrt(outer**2 - (small * np.sin(phi)) ** 2)
    assert foot[:, 1] - foot[0, 1] == pytest.approx(depth - depth[0], abs=0.1)
    # Its seam is where it is shortest, and the footprint lies on both tubes.
    assert foot[0, 1] == pytest.approx(foot[:, 1].max(), abs=1e-3)
    ring = seat.footprint_mm
    assert np.hypot(ring[:, 0], ring[:, 1]) == pytest.approx(outer, abs=0.1)
    assert np.hypot(ring[:, 0], ring[:, 2] - 80.0) == pytest.approx(small, abs=0.1)


@pytest.mark.parametrize(("lean_deg", "top_mm"), [(0.0, 0.0), (25.0, 0.0), (25.0, 20.0)])
def test_cone_on_a_sphere_is_cut_where_its_rulings_meet_it(lean_deg: float, top_mm: float) -> None:
    """Each ruling meets the sphere at the nearer root of |A + s d|^2 = R^2 (closed form)."""
    big = 120.0
    cap = solids.spherical_cap(big, 1.0, 4.0)
    wanted = design("cone", lean_rad=np.radians(lean_deg), top_mm=top_mm)
    at = big * np.array([0.1, -0.2, np.sqrt(0.95)])
    blank, _ = develop_attachment(wanted, cap, at, 0.0)
    seat = seat_of(wanted, cap, at)
    around = seat.around(2.0 * np.pi * np.arange(360) / 360)
    base = seat.at_mm + 30.0 * around
    apex = seat.at_mm + 80.0 * seat.axis + 0.5 * top_mm * around
    way = (base - apex) / np.linalg.norm(base - apex, axis=1, keepdims=True)
    middle = np.einsum("ni,ni->n", apex, way)
    true = -middle - np.sqrt(middle**2 - np.einsum("ni,ni->n", apex, apex) + big**2)
    foot = edge(blank, "foot")
    if top_mm == 0.0:
        point = edge(blank, "seam")[-1]
        length = np.linalg.norm(foot - point, axis=1)
        slant = np.hypot(30.0, 80.0)
        turn = np.unwrap(np.arctan2(*(foot - point).T[::-1]))
        # A right cone unrolls to a sector of 2 pi sin(half angle), evenly.
        assert np.diff(turn) == pytest.approx(2.0 * np.pi * 30.0 / slant / 360.0, rel=2e-4)
    else:
        length = np.linalg.norm(foot - edge(blank, "top")[::-1], axis=1)
    first = int(np.argmin(true))
    assert length == pytest.approx(np.append(np.roll(true, -first), true[first]), abs=0.1)


def test_spike_on_a_flat_plate_is_four_flat_triangles() -> None:
    plate = solids.plane_rectangle(200.0, 200.0, 20.0)
    at = np.array([100.0, 0.0, 100.0])
    blank, seat = develop_attachment(design("spike", turn_rad=0.4, tabs=4), plate, at, 0.0)
    slant = np.sqrt(30.0**2 + 80.0**2)
    foot, apex = edge(blank, "foot"), edge(blank, "seam")[-1]
    corners = foot[::90]
    assert np.linalg.norm(corners - apex, axis=1) == pytest.approx(np.hypot(slant, 30.0), abs=1e-3)
    assert np.linalg.norm(np.diff(corners, axis=0), axis=1) == pytest.approx(60.0, abs=1e-3)
    assert len(blank.bends_mm) == 3
    ring = seat.footprint_mm[:, [0, 2]] - 100.0
    span = np.abs(ring @ np.array([[np.cos(0.4), -np.sin(0.4)], [np.sin(0.4), np.cos(0.4)]]))
    assert span.max() == pytest.approx(30.0, abs=0.05)
    assert len(blank.tabs) == len(seat.holes_mm) == 4


def test_tabs_bent_out_bring_their_holes_over_the_plates() -> None:
    """On a flat plate a tube's tab lies square to its foot: its hole is half a tab further out."""
    plate = solids.plane_rectangle(200.0, 200.0, 20.0)
    at = np.array([100.0, 0.0, 100.0])
    blank, seat = develop_attachment(design("tube", tabs=5, tab_mm=14.0), plate, at, 0.0)
    away = np.linalg.norm(seat.holes_mm - at, axis=1)
    assert away == pytest.approx(37.0, abs=0.05)
    along = [(t.hole_at_mm[0] - edge(blank, "foot")[0, 0]) / 30.0 for t in blank.tabs]
    assert along == pytest.approx(2.0 * np.pi * (np.arange(5) + 0.5) / 5, abs=1e-3)
    for tab in blank.tabs:
        assert tab.hole_at_mm[1] == pytest.approx(-7.0, abs=0.02)


def test_fin_stands_on_the_curve_of_its_plate() -> None:
    """Across a cylinder R its foot is the circle R; along it, a straight line."""
    panel = solids.cylinder_panel(90.0, 2.0, 200.0, 4.0)
    at = np.array([0.0, -90.0, 100.0])
    along, _ = develop_attachment(design("fin", across_mm=80.0), panel, at, 0.0)
    assert np.ptp(edge(along, "foot")[:, 1]) < 0.05
    across, seat = develop_attachment(
        design("fin", across_mm=80.0, turn_rad=np.pi / 2.0), panel, at, 0.0
    )
    foot = edge(across, "foot")
    true = np.sqrt(90.0**2 - foot[:, 0] ** 2) - 90.0
    assert foot[:, 1] == pytest.approx(true, abs=0.1)
    assert edge(across, "top")[:, 1].max() == pytest.approx(80.0, abs=0.05)
    sides = np.sign(seat.holes_mm[:, 2] - 100.0)
    assert (sides[1:] == -sides[:-1]).all(), "tabs go to either side by turns"


def test_dome_comes_in_petals_that_fit_its_foot() -> None:
    """A cap of a ball on a flat plate: its foot is its base circle, its petals' sides are arcs."""
    plate = solids.plane_rectangle(200.0, 200.0, 20.0)
    at = np.array([100.0, 0.0, 100.0])
    wanted = design("dome", across_mm=80.0, height_mm=25.0, gores=6)
    blank, seat = develop_attachment(wanted, plate, at, 0.0)
    away = np.linalg.norm(seat.footprint_mm - at, axis=1)
    assert away == pytest.approx(40.0, abs=0.05)
    feet = [e.points_mm for e in blank.edges if e.line == "foot"]
    assert len(feet) == len(blank.tabs) == len(seat.holes_mm) == 6
    lengths = [float(np.linalg.norm(np.diff(f, axis=0), axis=1).sum()) for f in feet]
    assert sum(lengths) == pytest.approx(2.0 * np.pi * 40.0, rel=0.02)
    radius = (40.0**2 + 25.0**2) / 50.0
    arc = radius * np.arcsin(40.0 / radius)
    assert blank.stop_holes[0].length_mm == pytest.approx(0.75 * arc, rel=0.02)
    assert blank.stretch_range[1] / blank.stretch_range[0] < 1.06


def test_leaning_and_offset_feet_lie_on_the_plates_outside() -> None:
    cap = solids.spherical_cap(120.0, 1.0, 5.0)
    wanted = design("tube", lean_rad=0.5, toward_rad=1.0)
    _, seat = develop_attachment(wanted, cap, np.array([20.0, 10.0, 115.0]), 4.0)
    outside = plate_outside(cap, 4.0)
    for points in (seat.footprint_mm, seat.holes_mm):
        assert np.linalg.norm(points, axis=1) == pytest.approx(122.0, abs=0.1)
    assert outside.area_mm2() == pytest.approx(cap.area_mm2() * (122.0 / 120.0) ** 2, rel=1e-3)


@pytest.mark.parametrize("kind", ["cone", "dome", "fin"])
def test_hanging_over_the_edge_is_told(kind: str) -> None:
    plate: TriangleMesh = solids.plane_rectangle(100.0, 100.0, 10.0)
    with pytest.raises(DesignError) as caught:
        develop_attachment(
            design(kind, height_mm=30.0, turn_rad=np.pi / 2.0),
            plate,
            np.array([95.0, 0.0, 50.0]),
            0.0,
        )
    assert "'crest'" in caught.value.cause
    assert "Move it inwards" in caught.value.remedy


def test_what_is_narrower_than_its_sheet_is_refused() -> None:
    plate = solids.plane_rectangle(100.0, 100.0, 10.0)
    with pytest.raises(DesignError, match="narrower than its own sheet"):
        develop_attachment(
            design("tube", across_mm=8.0, thickness_mm=10.0),
            plate,
            np.array([50.0, 0.0, 50.0]),
            0.0,
        )
