"""Solids damaged on purpose, and a measured limb that is open at the top."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.findings import Severity
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import read_mesh
from fitkit.geometry.mesh_repair import RepairedMesh, repair_mesh
from fitkit.geometry.topology import (
    boundary_loops,
    components,
    edges,
    euler_characteristic,
    is_closed,
)
from tests.truth import solids

REPOSITORY = Path(__file__).resolve().parents[2]
SHARED_DATA = Path(os.environ.get("FITKIT_SHARED_DATA", REPOSITORY.parent / "shared" / "data"))
LIMB = SHARED_DATA / "limb-mesh" / "mean_transtibial_skin_mm.stl"
BALL = solids.sphere(150, 12)


def codes(repaired: RepairedMesh) -> list[str]:
    return [finding.code for finding in repaired.findings]


def without(mesh: TriangleMesh, centre: np.ndarray, radius_mm: float) -> TriangleMesh:
    far = np.linalg.norm(mesh.corners.mean(axis=1) - centre, axis=1) > radius_mm
    return mesh.faces_only(np.flatnonzero(far))[0]


def test_a_whole_surface_is_left_as_it_is() -> None:
    repaired = repair_mesh(BALL)
    assert repaired.findings == ()
    assert np.array_equal(repaired.mesh.vertices, BALL.vertices)
    assert np.array_equal(repaired.mesh.faces, BALL.faces)
    assert (repaired.filled_mm == 0).all()


def test_a_hole_is_filled_as_the_surface_runs_on() -> None:
    """The ball's own radius is the truth; a flat lid would lie 13.6 mm inside it."""
    hole = without(BALL, np.array([0.0, -150, 0]), 62)
    repaired = repair_mesh(hole)
    (finding,) = repaired.findings
    assert finding.code == "mesh-hole"
    assert finding.severity is Severity.WARNING
    assert finding.number == pytest.approx(np.pi * 6.2**2, rel=0.1), "cm2"
    new = repaired.mesh.vertices[repaired.filled_mm > 0]
    radii = np.linalg.norm(new, axis=1)
    assert len(new) > 30
    assert radii.min() > 147
    assert radii.max() < 153
    assert repaired.filled_mm.max() == pytest.approx(62, abs=8)
    assert (repaired.filled_mm[: len(hole.vertices)] == 0).all()


def test_a_cut_end_is_closed_flat() -> None:
    tube = solids.cylinder(60, 300, 12, capped=False)
    repaired = repair_mesh(tube)
    assert codes(repaired) == ["mesh-end-closed", "mesh-end-closed"]
    new = repaired.mesh.vertices[repaired.filled_mm > 0]
    low, high = tube.bounds_mm()[:, 2]
    assert np.minimum(np.abs(new[:, 2] - low), np.abs(new[:, 2] - high)).max() < 1e-6
    whole = solids.cylinder(60, 300, 12)
    assert repaired.mesh.volume_mm3() == pytest.approx(whole.volume_mm3(), rel=1e-6)


def test_faces_turned_over_are_turned_back_and_counted() -> None:
    faces = BALL.faces.copy()
    wrong = np.arange(0, len(faces), 7)
    faces[wrong] = faces[wrong][:, ::-1]
    repaired = repair_mesh(TriangleMesh(BALL.vertices, faces))
    (finding,) = repaired.findings
    assert finding.code == "mesh-faces-turned"
    assert finding.number == len(wrong)
    assert repaired.mesh.volume_mm3() == pytest.approx(BALL.volume_mm3())


def test_a_surface_inside_out_is_turned_over_whole() -> None:
    repaired = repair_mesh(TriangleMesh(BALL.vertices, BALL.faces[:, ::-1]))
    assert codes(repaired) == ["mesh-inside-out"]
    assert repaired.mesh.volume_mm3() > 0


def test_loose_corners_double_faces_and_faces_without_area_are_put_right() -> None:
    soup = BALL.vertices[BALL.faces].reshape(-1, 3)
    faces = np.arange(len(soup)).reshape(-1, 3)
    extra = np.vstack([faces, faces[:5], [[0, 1, 1], [3, 3, 4]]])
    repaired = repair_mesh(TriangleMesh(soup, extra))
    assert codes(repaired) == ["mesh-joined", "mesh-faces-dropped"]
    assert len(repaired.mesh.vertices) == len(BALL.vertices)
    assert repaired.mesh.volume_mm3() == pytest.approx(BALL.volume_mm3())


def test_a_fin_along_edges_is_cut_loose_and_dropped() -> None:
    loop = boundary_loops(without(BALL, np.array([0.0, 0, 150]), 60))[0]
    rim = without(BALL, np.array([0.0, 0, 150]), 60).vertices[loop]
    start = len(BALL.vertices)
    count = len(loop)
    on_ball = [int(np.argmin(np.linalg.norm(BALL.vertices - p, axis=1))) for p in rim]
    out = start + np.arange(count)
    fin = [[on_ball[k], on_ball[(k + 1) % count], out[k]] for k in range(count - 3)]
    fin += [[on_ball[(k + 1) % count], out[(k + 1) % count], out[k]] for k in range(count - 3)]
    mesh = TriangleMesh(np.vstack([BALL.vertices, 1.2 * rim]), np.vstack([BALL.faces, fin]))
    repaired = repair_mesh(mesh)
    assert codes(repaired) == ["mesh-edges-crowded", "mesh-pieces"]
    assert repaired.findings[0].number == count - 3
    assert repaired.mesh.volume_mm3() == pytest.approx(BALL.volume_mm3())
    assert len(repaired.mesh.faces) == len(BALL.faces)


def test_two_pieces_that_touch_in_a_point_are_parted_and_the_lesser_dropped() -> None:
    top = int(np.argmax(BALL.vertices[:, 2]))
    small = solids.sphere(20, 6)
    low = int(np.argmin(small.vertices[:, 2]))
    moved = small.vertices - small.vertices[low] + BALL.vertices[top]
    faces = small.faces + len(BALL.vertices)
    faces[faces == low + len(BALL.vertices)] = top
    mesh = TriangleMesh(np.vstack([BALL.vertices, moved]), np.vstack([BALL.faces, faces]))
    repaired = repair_mesh(mesh)
    assert codes(repaired) == ["mesh-pinched", "mesh-pieces"]
    assert repaired.findings[1].severity is Severity.NOTE
    assert is_closed(repaired.mesh)
    assert components(repaired.mesh).max() == 0


def test_a_large_second_piece_is_a_warning_with_its_size() -> None:
    other = solids.sphere(70, 12)
    mesh = TriangleMesh(
        np.vstack([BALL.vertices, other.vertices + np.array([400, 0, 0])]),
        np.vstack([BALL.faces, other.faces + len(BALL.vertices)]),
    )
    (finding,) = repair_mesh(mesh).findings
    assert finding.code == "mesh-pieces"
    assert finding.severity is Severity.WARNING
    assert finding.number == pytest.approx(4 * np.pi * 49, rel=0.02), "cm2"
    assert finding.remedy


def test_everything_at_once_gives_one_closed_surface_and_a_finding_each() -> None:
    damaged = without(without(BALL, np.array([150.0, 0, 0]), 50), np.array([0.0, 150, 0]), 10)
    faces = damaged.faces.copy()
    faces[::11] = faces[::11][:, ::-1]
    soup = damaged.vertices[faces].reshape(-1, 3)
    other = solids.sphere(12, 6)
    mesh = TriangleMesh(
        np.vstack([soup, other.vertices]),
        np.vstack([np.arange(len(soup)).reshape(-1, 3), other.faces + len(soup)]),
    )
    repaired = repair_mesh(mesh)
    assert set(codes(repaired)) == {
        "mesh-joined", "mesh-faces-turned", "mesh-inner-pieces", "mesh-hole", "mesh-holes",
    }  # fmt: skip
    assert is_closed(repaired.mesh)
    assert euler_characteristic(repaired.mesh) == 2
    assert repaired.mesh.volume_mm3() == pytest.approx(BALL.volume_mm3(), rel=0.01)


def test_a_one_sided_surface_and_an_empty_one_are_refused() -> None:
    turn = 2 * np.pi * np.arange(24) / 24
    inner, outer = (
        np.column_stack(
            [
                (100 + side * 20 * np.cos(turn / 2)) * np.cos(turn),
                (100 + side * 20 * np.cos(turn / 2)) * np.sin(turn),
                side * 20 * np.sin(turn / 2),
            ]
        )
        for side in (-1, 1)
    )
    ring = [(k, k + 1, k + 24) for k in range(23)] + [(k + 1, k + 25, k + 24) for k in range(23)]
    ring += [(23, 24, 47), (24, 0, 47)]
    with pytest.raises(MeshError, match="one side") as caught:
        repair_mesh(TriangleMesh(np.vstack([inner, outer]), np.array(ring)))
    assert caught.value.remedy
    with pytest.raises(MeshError, match="no surface"):
        repair_mesh(TriangleMesh(np.eye(3), np.array([[0, 1, 1], [0, 1, 2]])))


@pytest.mark.skipif(not LIMB.is_file(), reason="the open limb mesh is not on this machine")
def test_a_measured_lower_leg_is_closed_where_it_is_open() -> None:
    """Open data: OpenLimb mean transtibial limb, 137 border edges at the top, 257.1 mm tall.

    Nineteen of its faces are turned over.
    """
    limb = read_mesh(LIMB)
    assert int((edges(limb)[1] == 1).sum()) == 137
    repaired = repair_mesh(limb)
    assert is_closed(repaired.mesh)
    assert codes(repaired) == ["mesh-faces-turned", "mesh-end-closed"]
    assert np.ptp(repaired.mesh.vertices[:, 2]) == pytest.approx(257.1, abs=3)
    old = repaired.filled_mm == 0
    assert int(old.sum()) == len(limb.vertices)
    assert np.array_equal(repaired.mesh.vertices[old], limb.vertices)


def apart(mesh: TriangleMesh, *others: TriangleMesh) -> TriangleMesh:
    """Put meshes into one, as pieces of it."""
    starts = np.cumsum([0, *(len(m.vertices) for m in (mesh, *others))])
    return TriangleMesh(
        np.vstack([m.vertices for m in (mesh, *others)]),
        np.vstack([m.faces + k for m, k in zip((mesh, *others), starts, strict=False)]),
    )


def moved(mesh: TriangleMesh, x: float, y: float = 0.0, z: float = 0.0) -> TriangleMesh:
    return mesh.with_vertices(mesh.vertices + np.array([x, y, z]))


def union_of_balls_mm3(radius: float, gap: float) -> float:
    """Volume of two equal balls whose centres are ``gap`` apart: twice a ball, less the lens."""
    lens = np.pi * (4 * radius + gap) * (2 * radius - gap) ** 2 / 12
    return float(2 * 4 / 3 * np.pi * radius**3 - lens)


def test_pieces_that_overlap_in_a_chain_become_one_skin() -> None:
    """Three balls in a row, the last one inside out: the middle one joins the third to the first.

    The volume of overlapping balls is known in closed form (spherical caps).
    """
    ball = solids.sphere(60, 6)
    third = TriangleMesh(moved(ball, 180.0).vertices, ball.faces[:, ::-1])
    mesh = apart(ball, third, moved(ball, 90.0))
    repaired = repair_mesh(mesh)
    assert codes(repaired) == ["mesh-shells-united"]
    assert repaired.findings[0].number == 2
    assert is_closed(repaired.mesh)
    assert components(repaired.mesh).max() == 0
    assert euler_characteristic(repaired.mesh) == 2
    one = 4 / 3 * np.pi * 60**3
    truth = 2 * union_of_balls_mm3(60, 90) - one
    faceted = ball.volume_mm3() / one
    assert repaired.mesh.volume_mm3() == pytest.approx(truth * faceted, rel=2e-3)
    assert (repaired.filled_mm == 0).all()


def test_a_shell_inside_the_body_is_dropped_and_the_skin_stays_as_it_was() -> None:
    repaired = repair_mesh(apart(BALL, solids.sphere(100, 12)))
    assert codes(repaired) == ["mesh-inner-pieces"]
    assert np.array_equal(repaired.mesh.vertices, BALL.vertices)


def bent_hand() -> TriangleMesh:
    """Bend a bar round until its two ends pass through each other, as fingers in a scan do."""
    bar = solids.cylinder(14, 300, 5)
    z = bar.vertices[:, 2] - bar.vertices[:, 2].min()
    turn = (z / 300.0) * 2 * np.pi * 1.02
    radius = 48.0
    spread = radius - bar.vertices[:, 0]
    return bar.with_vertices(
        np.column_stack([spread * np.cos(turn), spread * np.sin(turn), bar.vertices[:, 1]])
    )


def test_a_surface_that_passes_through_itself_gets_one_skin_there_and_nowhere_else() -> None:
    """A ring whose ends run into each other: a torus, of one handle, in the end."""
    tangled = bent_hand()
    if tangled.volume_mm3() < 0:
        tangled = TriangleMesh(tangled.vertices, tangled.faces[:, ::-1])
    assert euler_characteristic(tangled) == 2
    repaired = repair_mesh(tangled)
    assert codes(repaired) == ["mesh-through-itself"]
    assert is_closed(repaired.mesh)
    assert components(repaired.mesh).max() == 0
    assert euler_characteristic(repaired.mesh) == 0
    assert repaired.mesh.volume_mm3() == pytest.approx(tangled.volume_mm3() / 1.02, rel=2e-3)
    far = repaired.mesh.vertices[:, 0] < -20.0
    old = {tuple(row) for row in np.round(tangled.vertices, 9).tolist()}
    assert all(tuple(row) in old for row in np.round(repaired.mesh.vertices[far], 9).tolist())
    again = repair_mesh(repaired.mesh)
    assert codes(again) == []
