"""Patches cut straight through the form's triangles: slivers go, the outline stays."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.remesh import CHORD_TOLERANCE_MM, smallest_angle_rad
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.patch import Patch
from tests.truth import solids

# Four planes through a ball of radius 120 mm, (normal, point): none is aligned with its mesh.
PLANES = {
    "level": ((0.30, 0.10, 1.0), (0.0, 0.0, 20.0)),
    "front": ((-0.2, 1.0, 0.1), (0.0, -10.0, 0.0)),
    "inner": ((1.0, 0.2, 0.1), (-30.0, 0.0, 0.0)),
    "outer": ((-1.0, 0.1, 0.4), (60.0, 0.0, 0.0)),
}


def plane_of(name: str) -> tuple[Floats, Floats]:
    normal, point = (np.asarray(v, dtype=np.float64) for v in PLANES[name])
    return normal / np.linalg.norm(normal), point


def cut_ball(edge_mm: float) -> Patch:
    """Return a four-cornered piece of a ball, cut by planes with trimesh (slivers and all)."""
    ball = solids.sphere(120.0, edge_mm)
    piece = trimesh.Trimesh(ball.vertices, ball.faces, process=False)
    for name in PLANES:
        normal, point = plane_of(name)
        piece = piece.slice_plane(point, normal)
        piece.merge_vertices()
    mesh = TriangleMesh(piece.vertices, piece.faces)

    def line(middle: Floats) -> str:
        away = {name: abs((middle - plane_of(name)[1]) @ plane_of(name)[0]) for name in PLANES}
        return min(away, key=lambda name: away[name])

    return solids.patch_of(mesh, lines=line, material="aluminium")


def test_slivers_go_and_the_outline_stays_on_its_lines() -> None:
    patch = cut_ball(5.0)
    assert smallest_angle_rad(patch.mesh) < np.radians(1.0)
    flat = flatten_patch(patch)
    assert smallest_angle_rad(flat.form) > np.radians(12.0)
    assert 3000 < len(flat.faces) < 8000
    assert flat.form.area_mm2() == pytest.approx(patch.mesh.area_mm2(), rel=1e-3)
    # A ball's mesh lies inside the ball by at most the sagitta of a triangle's circumradius.
    radius = np.linalg.norm(flat.form.vertices, axis=1)
    assert (radius < 120.0 + 1e-9).all()
    assert (radius > 120.0 - 5.8**2 / 3.0 / 240.0 * 1.5).all()
    vertex = {tuple(p): i for i, p in enumerate(flat.flat_mm.tolist())}
    assert sorted(edge.line for edge in flat.outline) == sorted(PLANES)
    old_corners = {tuple(patch.mesh.vertices[e.vertices[0]].tolist()) for e in patch.loops[0]}
    new_corners = set()
    for edge in flat.outline:
        formed = flat.form.vertices[[vertex[tuple(p)] for p in edge.points_mm.tolist()]]
        normal, point = plane_of(edge.line)
        assert np.abs((formed - point) @ normal).max() < CHORD_TOLERANCE_MM
        new_corners.add(tuple(formed[0].tolist()))
        true = next(e for e in patch.loops[0] if e.line == edge.line)
        length = np.linalg.norm(np.diff(patch.mesh.vertices[true.vertices], axis=0), axis=1).sum()
        assert edge.formed_arc_mm[-1] == pytest.approx(length, abs=1e-6)
        assert edge.neighbours[0][0] == 0
        assert edge.neighbours[-1][0] == len(edge.points_mm) - 1
    assert new_corners == old_corners


def test_remeshed_blank_agrees_with_one_of_finer_triangles() -> None:
    """Corner to corner the blanks of a 5 mm and a 3 mm mesh agree to 0.1 mm: cutting accuracy."""

    def corner_gaps(edge_mm: float) -> Floats:
        outline = flatten_patch(cut_ball(edge_mm)).outline
        first = next(i for i, e in enumerate(outline) if e.line == "level")
        corners = np.array([e.points_mm[0] for e in outline[first:] + outline[:first]])
        gaps: Floats = np.linalg.norm(corners[:, None] - corners[None], axis=2)
        return gaps

    assert corner_gaps(5.0) == pytest.approx(corner_gaps(3.0), abs=0.1)


def test_outline_joins_up_counter_clockwise_round_the_flat_triangles() -> None:
    flat = flatten_patch(cut_ball(6.0))
    for edge, after in zip(flat.outline, flat.outline[1:] + flat.outline[:1], strict=True):
        assert (edge.points_mm[-1] == after.points_mm[0]).all()
    outline = shapely.Polygon(np.concatenate([e.points_mm[:-1] for e in flat.outline]))
    assert outline.exterior.is_ccw
    triangles = shapely.polygons(flat.flat_mm[flat.faces])
    assert outline.area == pytest.approx(float(shapely.area(triangles).sum()), rel=1e-9)


def cut_sleeve() -> Patch:
    """Return a slanting oval sleeve cut aslant by two planes out of a finer tube."""
    tube = solids.frustum(60.0, 45.0, 200.0, 5.0, capped=False)
    v = tube.vertices
    # A bend of 20 mm: curved both ways, and no edges along the cuts.
    bent = np.column_stack([v[:, 0] * 1.2, v[:, 1] + 20.0 * np.sin(v[:, 2] / 80.0), v[:, 2]])
    piece = trimesh.Trimesh(bent, tube.faces, process=False)
    for normal, point in (((0.2, 0.1, 1.0), (0, 0, 40.0)), ((0.1, -0.2, -1.0), (0, 0, 160.0))):
        piece = piece.slice_plane(point, np.asarray(normal) / np.linalg.norm(normal))
        piece.merge_vertices()
    return solids.patch_of(TriangleMesh(piece.vertices, piece.faces), lines=("lower", "upper"))


def test_both_sides_of_a_remeshed_seam_have_the_same_points_on_the_form() -> None:
    patch = cut_sleeve()
    flat = flatten_patch(patch)
    assert smallest_angle_rad(flat.form) > np.radians(5.0)
    vertex = {tuple(p): i for i, p in enumerate(flat.flat_mm.tolist())}
    there, back = (
        flat.form.vertices[[vertex[tuple(p)] for p in edge.points_mm.tolist()]]
        for edge in flat.outline
        if edge.line == "seam"
    )
    assert there == pytest.approx(back[::-1], abs=1e-9)
    girths = {e.line: e.formed_arc_mm[-1] for e in flat.outline if e.line != "seam"}
    for loop in patch.loops:
        points = patch.mesh.vertices[loop[0].vertices]
        girth = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
        assert girths[loop[0].line] == pytest.approx(girth, abs=1e-6)


def test_line_across_a_remeshed_patch_keeps_its_shape() -> None:
    """On a developable panel an inner line's length on the blank is its length on the form."""
    panel = solids.cylinder_panel(80.0, 1.5, 160.0, 6.0)
    piece = trimesh.Trimesh(panel.vertices, panel.faces, process=False)
    piece = piece.slice_plane((0, 0, 33.3), np.array([0.3, 0.1, 1.0]) / np.sqrt(1.1))
    piece.merge_vertices()
    mesh = TriangleMesh(piece.vertices, piece.faces)
    # A ruling that survives the cut: vertices of one bearing, from top down.
    bearing = np.arctan2(mesh.vertices[:, 0], -mesh.vertices[:, 1])
    rulings = np.unique(np.round(bearing[np.isclose(mesh.vertices[:, 2], 160.0)], 9))
    chosen = np.flatnonzero(np.isclose(bearing, rulings[len(rulings) // 3], atol=1e-7))
    chain = chosen[np.argsort(-mesh.vertices[chosen, 2])]
    # Swollen a little, so that it is no longer exact as it is and new triangles are made.
    swell = 1.0 + 1e-4 * np.sin(mesh.vertices[:, 2] / 30.0)
    v = mesh.vertices * np.column_stack([swell, swell, np.ones(len(swell))])
    flat = flatten_patch(solids.patch_of(mesh.with_vertices(v), inner={"centre": chain}))
    assert len(flat.form.vertices) != len(mesh.vertices)
    (line,) = flat.inner_lines
    formed = np.linalg.norm(np.diff(v[chain], axis=0), axis=1).sum()
    laid = np.linalg.norm(np.diff(line.points_mm, axis=0), axis=1).sum()
    assert laid == pytest.approx(formed, rel=1e-4)
    chord = np.linalg.norm(line.points_mm[-1] - line.points_mm[0])
    assert chord == pytest.approx(laid, rel=1e-4)
