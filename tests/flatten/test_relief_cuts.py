"""Relief cuts on a patch: what opens, what stays the same, what is refused."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.findings import Severity
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.relief_cuts import SurfaceCut, stop_hole_mm
from fitkit.geometry.arrays import Floats
from tests.truth import solids


def on_sphere(polar: float, turn: float) -> Floats:
    return 100.0 * np.array(
        [np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)]
    )


TURNS = 0.2 + np.pi / 2.0 * np.arange(4)
CUTS = [SurfaceCut(on_sphere(np.pi / 2.0, a), on_sphere(0.45, a)) for a in TURNS]
DOME = flatten_patch(
    solids.patch_of(
        solids.spherical_cap(100.0, np.pi / 2.0, 5.0), material="aluminium", thickness_mm=1.0
    ),
    cuts=CUTS,
)


def test_hemisphere_opens_in_four_equal_notches() -> None:
    assert len(DOME.cuts) == 4
    opening = [cut.opening_mm for cut in DOME.cuts]
    assert max(opening) - min(opening) < 0.01 * min(opening)
    assert [cut.length_mm for cut in DOME.cuts] == pytest.approx(
        [100.0 * (np.pi / 2.0 - 0.45)] * 4, rel=2e-3
    )
    tips = np.array([cut.tip_mm for cut in DOME.cuts])
    away = np.linalg.norm(tips - tips.mean(axis=0), axis=1)
    assert np.ptp(away) < 0.5
    # Uncut no flat map of it needs less than 25.3 % (Milnor 1969); with four such cuts 4.6 %.
    assert np.sqrt(DOME.stretch.max() / DOME.stretch.min()) - 1.0 < 0.05
    (note,) = [f for f in DOME.findings if f.code == "relief-cuts"]
    assert note.number == pytest.approx(448.0, abs=1.0)


def test_both_sides_of_a_cut_and_the_parted_rim_tell_the_same_lengths() -> None:
    names = [edge.line for edge in DOME.outline]
    assert sorted(names) == sorted(
        ["rim 1"] * 4 + [f"relief cut {k}" for k in (1, 2, 3, 4) for _ in range(2)]
    )
    for number in (1, 2, 3, 4):
        going, coming = [e for e in DOME.outline if e.line == f"relief cut {number}"]
        assert going.formed_arc_mm[-1] == pytest.approx(coming.formed_arc_mm[-1], abs=1e-9)
        assert (going.points_mm[-1] == coming.points_mm[0]).all(), "they meet at the tip"
    rims = sorted((e for e in DOME.outline if e.line == "rim 1"), key=lambda e: e.formed_arc_mm[0])
    assert rims[0].formed_arc_mm[0] == 0.0
    for before, after in pairwise(rims):
        assert before.formed_arc_mm[-1] == pytest.approx(after.formed_arc_mm[0], abs=1e-9)
    assert rims[-1].formed_arc_mm[-1] == pytest.approx(200.0 * np.pi, rel=1e-3)
    for edge, after in zip(DOME.outline, [*DOME.outline[1:], DOME.outline[0]], strict=True):
        assert (edge.points_mm[-1] == after.points_mm[0]).all()


def test_cut_in_a_flat_piece_stays_shut() -> None:
    mesh = solids.plane_rectangle(120.0, 80.0, 6.0)
    cut = SurfaceCut(np.array([40.0, 0.0, 0.0]), np.array([44.0, 0.0, 35.0]))
    flat = flatten_patch(solids.patch_of(mesh), cuts=[cut])
    assert flat.cuts[0].opening_mm < 1e-6
    assert flat.stretch == pytest.approx(1.0, abs=1e-6)
    assert not [f for f in flat.findings if f.code == "flat-overlap"]


def test_cut_in_a_saddle_lies_over_itself_and_is_stopped() -> None:
    mesh = solids.saddle(100.0, 0.015, 6.0)
    cut = SurfaceCut(np.array([0.0, 100.0, -75.0]), np.array([0.0, 5.0, 0.0]))
    flat = flatten_patch(solids.patch_of(mesh, material="aluminium"), cuts=[cut])
    (stop,) = [f for f in flat.findings if f.code == "flat-overlap"]
    assert stop.severity is Severity.STOP


def test_lines_that_a_cut_crosses_are_parted_there() -> None:
    mesh = solids.plane_rectangle(120.0, 80.0, 5.0)
    row = np.flatnonzero(np.abs(mesh.vertices[:, 2] - 20.0) < 1e-9)
    row = row[np.argsort(mesh.vertices[row, 0])]
    cut = SurfaceCut(np.array([61.0, 0.0, 0.0]), np.array([61.0, 0.0, 50.0]))
    flat = flatten_patch(solids.patch_of(mesh, inner={"level": row}), cuts=[cut])
    parts = [line.points_mm for line in flat.inner_lines]
    lengths = sorted(float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for p in parts)
    assert lengths == pytest.approx([59.0, 61.0], abs=1e-3)


def test_cuts_that_cannot_be_made_are_refused_by_number() -> None:
    mesh = solids.spherical_cap(100.0, 1.0, 8.0)
    patch = solids.patch_of(mesh, name="cap")
    fine = SurfaceCut(on_sphere(1.0, 0.0), on_sphere(0.4, 0.0))
    beside = SurfaceCut(on_sphere(1.0, 0.02), on_sphere(0.4, 0.02))
    with pytest.raises(DesignError) as caught:
        flatten_patch(patch, cuts=[fine, beside])
    assert "relief cut 2 of the patch 'cap'" in caught.value.cause
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("material", "thickness_mm", "hole_mm"),
    [
        # FAA-H-8083-31, Layout and Forming: 1/8 in up to 0.064 in, 3/16 in up to 0.128 in.
        ("aluminium", 1.0, 3.2),
        ("aluminium 5052-H32", 1.6, 3.2),
        ("aluminium", 2.0, 4.8),
        ("aluminium", 3.0, 6.0),
        # Common practice, no source.
        ("card", 0.5, 0.0),
        ("leather", 4.0, 0.0),
        ("foam", 5.0, 3.0),
    ],
)
def test_stop_hole_goes_by_the_sheet(material: str, thickness_mm: float, hole_mm: float) -> None:
    mesh = solids.plane_rectangle(20.0, 20.0, 10.0)
    patch = solids.patch_of(mesh, material=material, thickness_mm=thickness_mm)
    assert stop_hole_mm(patch.design) == hole_mm
    own = solids.patch_of(mesh, material=material, stop_hole_mm=5.5)
    assert stop_hole_mm(own.design) == 5.5
