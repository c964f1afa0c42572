"""Surfaces that bend one way only lie flat without stretch, as their closed forms say.

Every mesh here is aligned: its edges run along the rulings, so that it is developable itself.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

ISOMETRIC = 1e-8


def edge_named(flat: FlatPatch, line: str) -> FlatEdge:
    return next(edge for edge in flat.outline if edge.line == line)


def area_mm2(flat: FlatPatch) -> float:
    return shapely.Polygon(np.concatenate([edge.points_mm[:-1] for edge in flat.outline])).area


def circle_through(points: Floats) -> tuple[Floats, float]:
    matrix = np.column_stack([2.0 * points, np.ones(len(points))])
    x, y, c = np.linalg.lstsq(matrix, (points**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y]), float(np.sqrt(c + x * x + y * y))


def ruled(rows: list[Floats]) -> TriangleMesh:
    """Return the open strip over rows of points, each (N, 3) and of one length."""
    n = len(rows[0])
    i, j = np.meshgrid(np.arange(len(rows) - 1), np.arange(n - 1), indexing="ij")
    k = (i * n + j).ravel()
    faces = np.concatenate(
        [np.column_stack([k, k + 1, k + n + 1]), np.column_stack([k, k + n + 1, k + n])]
    )
    return TriangleMesh(np.concatenate(rows), faces)


def test_oblique_cone_is_the_fan_of_its_rulings() -> None:
    """Apex 40 mm aside of the middle of a base of r 50, 90 mm up, cut off half-way, opened.

    Its sector is as wide as the angle that the rulings sweep in space: the integral round the base
    of |p x dp| / p^2, p running from the apex (closed form, by quadrature).
    """
    apex = np.array([40.0, 0.0, 90.0])
    around = 181
    turn = np.linspace(0.0, 1.8 * np.pi, around)
    base = np.column_stack([50.0 * np.cos(turn), 50.0 * np.sin(turn), 0.0 * turn])
    rows = [base + share * (apex - base) for share in np.linspace(0.0, 0.5, 9)]
    flat = flatten_patch(solids.patch_of(ruled(rows), material="aluminium"))
    assert np.abs(flat.stretch - 1.0).max() < ISOMETRIC

    def swept(t: float) -> float:
        p = np.array([50.0 * np.cos(t), 50.0 * np.sin(t), 0.0]) - apex
        dp = np.array([-50.0 * np.sin(t), 50.0 * np.cos(t), 0.0])
        return float(np.linalg.norm(np.cross(p, dp)) / (p @ p))

    expected, _ = quad(swept, 0.0, 1.8 * np.pi)
    laid = flat.flat_mm.reshape(9, around, 2)
    rulings = laid[-1] - laid[0]
    angle = np.unwrap(np.arctan2(rulings[:, 1], rulings[:, 0]))
    assert abs(angle[-1] - angle[0]) == pytest.approx(expected, rel=1e-4)
    # All rulings, drawn on by as much again, meet in the apex.
    assert np.ptp(laid[0] + 2.0 * rulings, axis=0).max() < 1e-6


def test_strip_beside_a_helix_lies_on_a_flat_ring() -> None:
    """Tangents of a helix a 40, c 30: edge of regression of radius (a^2 + c^2) / a = 62.5 flat.

    One turn covers 288 degrees (closed form); a point s along the tangent lies at hypot(62.5, s).
    """
    a, c = 40.0, 30.0
    t = np.linspace(0.0, 2.0 * np.pi * 0.9, 721)
    tangent = np.column_stack([-a * np.sin(t), a * np.cos(t), np.full_like(t, c)]) / np.hypot(a, c)
    edge = np.column_stack([a * np.cos(t), a * np.sin(t), c * t])
    strip = ruled([edge + s * tangent for s in (5.0, 30.0)])
    flat = flatten_patch(solids.patch_of(strip, material="aluminium"))
    assert np.abs(flat.stretch - 1.0).max() < ISOMETRIC
    inner, outer = flat.flat_mm.reshape(2, len(t), 2)
    centres = []
    for line, s in ((inner, 5.0), (outer, 30.0)):
        centre, radius = circle_through(line)
        assert radius == pytest.approx(np.hypot(62.5, s), rel=1e-4)
        centres.append(centre)
    assert centres[0] == pytest.approx(centres[1], abs=0.02)
    way = inner - centres[0]
    angle = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    assert np.degrees(abs(angle[-1] - angle[0])) == pytest.approx(0.9 * 288.0, rel=1e-4)


def test_corrugated_sheet_is_a_rectangle() -> None:
    """A general cylinder, y = 12 sin(x / 15): as wide as its chords, all its area, no stretch."""
    x = np.linspace(0.0, 180.0, 181)
    section = np.column_stack([x, 12.0 * np.sin(x / 15.0), 0.0 * x])
    rows = [section + np.array([0.0, 0.0, z]) for z in np.linspace(0.0, 60.0, 21)]
    sheet = ruled(rows)
    flat = flatten_patch(solids.patch_of(sheet, material="aluminium"))
    assert np.abs(flat.stretch - 1.0).max() < ISOMETRIC
    wide = sum(float(np.linalg.norm(b - a)) for a, b in pairwise(section))
    assert sorted(np.ptp(flat.flat_mm, axis=0)) == pytest.approx([60.0, wide], abs=1e-6)
    assert area_mm2(flat) == pytest.approx(60.0 * wide, rel=1e-9)


@pytest.mark.parametrize(
    ("r_bottom", "r_top", "height", "area", "chord_bottom", "chord_top"),
    [
        # Slant s = hypot(h, r1 - r2), area pi (r1 + r2) s, angle 2 pi (r1 - r2) / s, end chords
        # 2 r s / (r1 - r2) sin(angle / 2) (closed form).
        (60.0, 40.0, 150.0, 47540.9235, 366.252217, 244.168145),
        (100.0, 75.0, 200.0, 110811.4425, None, None),
    ],
)
def test_frustum_has_the_area_and_chords_of_its_sector(
    r_bottom: float,
    r_top: float,
    height: float,
    area: float,
    chord_bottom: float | None,
    chord_top: float | None,
) -> None:
    """The mesh is the pyramid inside, whose girth and area are short by (pi / n)^2 / 6 or so."""
    mesh = solids.frustum(r_bottom, r_top, height, 6.0, capped=False)
    n = len(solids.border_rounds(mesh)[0])
    short = (np.pi / n) ** 2
    flat = flatten_patch(solids.patch_of(mesh, lines=("hem", "cuff")))
    assert np.abs(flat.stretch - 1.0).max() < ISOMETRIC
    assert area_mm2(flat) == pytest.approx(area, rel=short)
    for line, expected in (("hem", chord_bottom), ("cuff", chord_top)):
        points = edge_named(flat, line).points_mm
        if expected is not None:
            assert np.linalg.norm(points[-1] - points[0]) == pytest.approx(expected, rel=short)


@pytest.mark.parametrize(
    ("radius", "height", "slant", "degrees", "area"),
    [(30.0, 40.0, 50.0, 216.0, 4712.389), (5.0, 12.0, 13.0, 138.461538, 204.203522)],
)
def test_cone_has_the_angle_and_area_of_its_sector(
    radius: float, height: float, slant: float, degrees: float, area: float
) -> None:
    """Angle 360 r / s, area pi r s (closed form); the tip's fan of rulings is left out."""
    mesh = solids.cone(radius, height, slant / 25.0, capped=False)
    tip = int(np.argmax(mesh.vertices[:, 2]))
    sleeve, _ = mesh.faces_only(~(mesh.faces == tip).any(axis=1))
    short = (np.pi / len(solids.border_rounds(mesh)[0])) ** 2
    flat = flatten_patch(solids.patch_of(sleeve, lines=("hem", "tip")))
    assert np.abs(flat.stretch - 1.0).max() < ISOMETRIC
    hem = edge_named(flat, "hem").points_mm
    _, outer = circle_through(hem)
    assert outer == pytest.approx(slant, abs=1e-6 * slant)
    chords = np.linalg.norm(np.diff(hem, axis=0), axis=1)
    swept = np.degrees((2.0 * np.arcsin(chords / (2.0 * outer))).sum())
    assert swept == pytest.approx(degrees, rel=short)
    gone = mesh.area_mm2() - sleeve.area_mm2()
    assert area_mm2(flat) + gone == pytest.approx(area, rel=short)
