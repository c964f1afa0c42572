"""Patches with several borders: where they are opened, and that each seam stays one joint."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import shapely

from fitkit.errors import DesignError
from fitkit.flatten.edge_names import is_seam
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import EdgeTreatment
from fitkit.patch.patch import InnerLine
from fitkit.template.blank_edges import blank_edges
from tests.truth import solids

RADIUS_MM, HEIGHT_MM = 60.0, 200.0


def tube_with_windows(*places: tuple[float, float]) -> TriangleMesh:
    """Return an open cylinder with windows 30 by 40 mm round (angle, height)."""
    mesh = solids.cylinder(RADIUS_MM, HEIGHT_MM, 5.0, capped=False)
    middle = mesh.corners.mean(axis=1)
    keep = np.ones(len(middle), dtype=bool)
    for angle, height in places:
        turn = np.angle(np.exp(1j * (np.arctan2(middle[:, 1], middle[:, 0]) - angle)))
        keep &= (np.abs(turn) * RADIUS_MM > 15.0) | (np.abs(middle[:, 2] - height) > 20.0)
    whole, _ = mesh.faces_only(keep)
    return whole


def seams_of(flat: FlatPatch) -> dict[str, list[FlatEdge]]:
    found: dict[str, list[FlatEdge]] = {}
    for edge in flat.outline:
        if is_seam(edge.line):
            found.setdefault(edge.line, []).append(edge)
    return found


def length_mm(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def upright_chain(mesh: TriangleMesh, angle: float) -> list[Ints]:
    """Return the vertices at an angle, from below, in a chain per stretch that has edges."""
    v = mesh.vertices
    turn = np.abs(np.angle(np.exp(1j * (np.arctan2(v[:, 1], v[:, 0]) - angle))))
    column = np.flatnonzero(turn < 1e-6)
    column = column[np.argsort(v[column, 2])]
    gaps = np.flatnonzero(np.diff(v[column, 2]) > 10.0) + 1
    return [chain for chain in np.split(column, gaps) if len(chain) > 1]


def test_tube_with_two_windows_is_opened_by_the_shortest_ways_and_lies_flat() -> None:
    """A cylinder is developable: however it is opened, no stretch and all its area (closed form).

    From the hem to the lower window 60 mm, from there to the upper 40, from there to the top 20.
    """
    tube = tube_with_windows((0.0, 80.0), (0.0, 160.0))
    flat = flatten_patch(solids.patch_of(tube, name="yoke", material="aluminium"))
    assert np.abs(flat.stretch - 1.0).max() < 1e-8
    outline = shapely.Polygon(np.concatenate([edge.points_mm[:-1] for edge in flat.outline]))
    assert outline.is_valid
    assert outline.area == pytest.approx(tube.area_mm2(), rel=1e-9)
    seams = seams_of(flat)
    assert sorted(seams) == [f"seam opening {number}" for number in (1, 2, 3)]
    lengths = sorted(length_mm(sides[0].points_mm) for sides in seams.values())
    assert lengths == pytest.approx([20.0, 40.0, 60.0], abs=5.0)
    for sides in seams.values():
        there, back = sides
        assert length_mm(there.points_mm) == pytest.approx(length_mm(back.points_mm), rel=1e-9)
        assert there.neighbours[0][1] == back.neighbours[-1][1]
    (told,) = [f for f in flat.findings if f.code == "seam-opened"]
    assert told.number == pytest.approx(sum(lengths), rel=1e-6)
    assert "4 borders" in told.message
    assert "seam = [...]" in told.remedy


def test_parts_of_one_edge_between_seams_tell_one_length() -> None:
    """A border that several seams meet counts its length on from part to part, once round."""
    tube = tube_with_windows((0.0, 60.0), (2.0, 60.0), (4.0, 60.0))
    flat = flatten_patch(solids.patch_of(tube, lines=("hem", "top", "a", "b", "c")))
    parts = sorted(
        (edge for edge in flat.outline if edge.line == "hem"), key=lambda e: e.formed_arc_mm[0]
    )
    assert len(parts) == 3
    assert parts[0].formed_arc_mm[0] == 0.0
    for before, after in itertools.pairwise(parts):
        assert after.formed_arc_mm[0] == pytest.approx(before.formed_arc_mm[-1], abs=1e-9)
    assert parts[-1].formed_arc_mm[-1] == pytest.approx(sum(length_mm(p.points_mm) for p in parts))


def test_named_lines_open_it_where_the_maker_points() -> None:
    """One line through a window serves twice; what it leaves apart is joined the shortest way."""
    tube = tube_with_windows((0.0, 100.0), (3.0, 100.0))
    chains = upright_chain(tube, 0.0)
    assert len(chains) == 2
    patch = solids.patch_of(tube, seams=("front",), material="aluminium")
    flat = flatten_patch(
        replace(patch, inner_lines=tuple(InnerLine("front", chain) for chain in chains))
    )
    seams = seams_of(flat)
    assert len(seams) == 3
    (told,) = [f for f in flat.findings if f.code == "seam-opened"]
    assert told.message.count("along 'front'") == 2
    assert told.message.count("shortest") == 1
    assert np.abs(flat.stretch - 1.0).max() < 1e-8
    vertex = {tuple(p): i for i, p in enumerate(flat.flat_mm.tolist())}
    for name in ("seam opening 1", "seam opening 2"):
        on = flat.form.vertices[[vertex[tuple(p)] for p in seams[name][0].points_mm.tolist()]]
        assert np.abs(on[:, 1]).max() < 1e-9


def test_treatment_of_the_seam_holds_for_every_seam_on_one_side() -> None:
    tube = tube_with_windows((0.0, 80.0))
    flat = flatten_patch(solids.patch_of(tube, edges={"seam": EdgeTreatment("lap", 10.0)}))
    widths = blank_edges(flat).widths_mm
    for sides in seams_of(flat).values():
        at = [flat.outline.index(side) for side in sides]
        assert sorted(widths[i] for i in at) == [0.0, 10.0]


def test_seam_that_meets_no_second_border_is_refused_by_name() -> None:
    tube = tube_with_windows((0.0, 80.0))
    patch = solids.patch_of(tube, inner={"dart": upright_chain(tube, 0.0)[0][:4]}, seams=("dart",))
    with pytest.raises(DesignError) as caught:
        flatten_patch(patch)
    assert "'dart'" in caught.value.cause
    assert "lay one that does" in caught.value.remedy
