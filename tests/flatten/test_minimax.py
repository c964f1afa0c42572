"""The least worst strain against the bound for caps, its optimality, and its edges."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.flatten.conformal_start import circle_map, conformal_start, flipped_faces
from fitkit.flatten.minimax import log_ratio, minimise_largest_strain
from fitkit.flatten.smoothing import smoothed_form
from fitkit.flatten.symmetric_dirichlet import minimise_symmetric_dirichlet
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids
from tests.truth.body_patches import body_patch


def even_map(mesh: TriangleMesh) -> Floats:
    start = conformal_start(mesh, solids.border_rounds(mesh)[0])
    return minimise_symmetric_dirichlet(mesh, start, tolerance=0.1).flat_mm


def cap_of(half_angle: float, triangles: int) -> TriangleMesh:
    area = 2.0 * np.pi * 100.0**2 * (1.0 - np.cos(half_angle))
    return solids.spherical_cap(100.0, half_angle, float(np.sqrt(area / triangles * 2.0)))


@pytest.mark.parametrize("half_angle_deg", [20, 40, 60, 80])
def test_cap_comes_within_1_5_percent_of_the_best_possible(half_angle_deg: int) -> None:
    """The least log ratio of length scales of a cap is log(alpha / sin(alpha)).

    Milnor, A Problem in Cartography, American Mathematical Monthly 76 (1969), 1101-1112.
    """
    alpha = np.radians(half_angle_deg)
    mesh = cap_of(alpha, 5000)
    best = minimise_largest_strain(mesh, even_map(mesh))
    ratio = log_ratio(mesh, best.flat_mm) / np.log(alpha / np.sin(alpha))
    assert best.converged
    assert flipped_faces(mesh, best.flat_mm) == 0
    # A mesh of this size is short of the sphere's own bound by at most its chords: 0.05 %.
    assert 0.9995 < ratio < 1.015


def test_worst_stretch_and_worst_shrink_are_equal() -> None:
    mesh = solids.saddle(60.0, 0.01, 6.0)
    flat = minimise_largest_strain(mesh, even_map(mesh)).flat_mm
    f = mesh.faces
    e1, e2 = flat[f[:, 1]] - flat[f[:, 0]], flat[f[:, 2]] - flat[f[:, 0]]
    d1 = mesh.vertices[f[:, 1]] - mesh.vertices[f[:, 0]]
    d2 = mesh.vertices[f[:, 2]] - mesh.vertices[f[:, 0]]
    formed = np.stack(
        [[(d1 * d1).sum(1), (d1 * d2).sum(1)], [(d1 * d2).sum(1), (d2 * d2).sum(1)]]
    ).transpose(2, 0, 1)
    sides = np.stack([e1, e2], axis=2)
    laid = sides.transpose(0, 2, 1) @ sides
    # Squares of the principal stretches are the eigenvalues of one metric by the other.
    squares = np.linalg.eigvals(np.linalg.solve(formed, laid)).real
    assert np.sqrt(squares.max() * squares.min()) == pytest.approx(1.0, abs=1e-9)
    assert log_ratio(mesh, flat) == pytest.approx(0.5 * np.log(squares.max() / squares.min()))


def test_no_nearby_map_is_better() -> None:
    """The problem is nearly convex: blends towards other good maps must all be worse."""
    mesh = solids.saddle(60.0, 0.01, 7.0)
    start = even_map(mesh)
    flat = minimise_largest_strain(mesh, start, gap=1e-4).flat_mm
    least = log_ratio(mesh, flat)
    rng = np.random.default_rng(3)
    x, y = (flat / np.abs(flat).max()).T
    for _ in range(30):
        a = rng.normal(size=(2, 6))
        bend = np.stack([x, y, x * x, x * y, y * y, x * (x * x - 3.0 * y * y)])
        for size in (0.02, 0.2):
            assert log_ratio(mesh, flat + size * (a @ bend).T) > least * (1.0 - 1e-4)
    assert least < log_ratio(mesh, start)


@pytest.mark.parametrize(
    ("place", "least"), [("knee", 0.029621), ("elbow", 0.114423), ("chest", 0.109014)]
)
def test_slivers_do_not_jam_the_map_against_its_bounds(place: str, least: float) -> None:
    """Coarse body plates, slivers under a degree and all, reach the least there is.

    Smoothing pulls the slivers about, which makes them awkward.

    ``least`` was found once by a conic interior-point solver (Clarabel 0.11), the rotations of the
    faces fixed and found anew until nothing changed; its duality gap was below 1e-7.
    """
    mesh = smoothed_form(body_patch(place, 12.0)).mesh
    best = minimise_largest_strain(mesh, even_map(mesh))
    assert best.converged
    assert log_ratio(mesh, best.flat_mm) == pytest.approx(least, rel=2e-3)


def test_circle_and_conformal_starts_end_in_the_same_place() -> None:
    mesh = solids.spherical_cap(100.0, 1.2, 8.0)
    border = solids.border_rounds(mesh)[0]
    ratios = [
        log_ratio(mesh, minimise_largest_strain(mesh, start(mesh, border), gap=1e-3).flat_mm)
        for start in (conformal_start, circle_map)
    ]
    assert ratios[0] == pytest.approx(ratios[1], rel=1e-3)


def test_isometry_is_left_as_it_is() -> None:
    mesh = solids.cylinder_panel(80.0, 1.8, 150.0, 10.0)
    start = even_map(mesh)
    settled = minimise_symmetric_dirichlet(mesh, start).flat_mm
    best = minimise_largest_strain(mesh, settled)
    assert best.converged
    assert np.abs(best.flat_mm - settled).max() < 1e-9


def test_start_with_a_flipped_triangle_is_refused() -> None:
    mesh = solids.spherical_cap(50.0, 1.0, 12.0)
    with pytest.raises(MeshError, match="flipped"):
        minimise_largest_strain(mesh, even_map(mesh) * np.array([-1.0, 1.0]))


def test_too_few_steps_are_owned_up_to_and_progress_is_told() -> None:
    mesh = solids.spherical_cap(50.0, 1.0, 8.0)
    told: list[float] = []
    start = even_map(mesh)
    assert not minimise_largest_strain(mesh, start, max_iterations=2).converged
    minimise_largest_strain(mesh, start, progress=lambda share, _: told.append(share))
    assert told
    assert told == sorted(told)
    assert 0.0 <= told[0] <= told[-1] <= 1.0


def test_sliver_does_not_stop_it() -> None:
    """A vertex drawn to 1e-4 of an edge from its neighbour leaves the rest as good as before."""
    mesh = solids.spherical_cap(100.0, 0.9, 8.0)
    border = solids.border_rounds(mesh)[0]
    inner = int(np.setdiff1d(np.arange(len(mesh.vertices)), border)[0])
    beside = int(next(v for v in mesh.faces[(mesh.faces == inner).any(axis=1)][0] if v != inner))
    moved = mesh.vertices.copy()
    moved[inner] += (1.0 - 1e-4) * (moved[beside] - moved[inner])
    sliver = mesh.with_vertices(moved)
    whole, thin = (minimise_largest_strain(m, even_map(m)) for m in (mesh, sliver))
    assert thin.converged
    assert flipped_faces(sliver, thin.flat_mm) == 0
    assert log_ratio(sliver, thin.flat_mm) < 1.2 * log_ratio(mesh, whole.flat_mm)
