"""The energy's minimum against another library's and its derivatives against differences."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.flatten.conformal_start import circle_map, conformal_start, flipped_faces
from fitkit.flatten.symmetric_dirichlet import (
    minimise_symmetric_dirichlet,
    symmetric_dirichlet_energy,
)
from tests.truth import solids


def test_minimum_is_no_worse_than_libigl_slim() -> None:
    """Libigl's SLIM on the same energy (Rabinovich et al. 2017, 10.1145/2983621)."""
    mesh = solids.saddle(80.0, 0.012, 5.0)
    start = conformal_start(mesh, solids.border_rounds(mesh)[0])
    ours = minimise_symmetric_dirichlet(mesh, start)
    slim = igl.slim_precompute(
        np.asfortranarray(mesh.vertices),
        np.asfortranarray(mesh.faces.astype(np.int32)),
        np.asfortranarray(start),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, dtype=np.int32),
        np.asfortranarray(np.zeros((0, 2))),
        0.0,
    )
    theirs = symmetric_dirichlet_energy(mesh, np.ascontiguousarray(igl.slim_solve(slim, 40)))
    assert ours.converged
    assert 0.0 < ours.energy <= theirs * (1.0 + 1e-6)
    assert ours.energy == pytest.approx(theirs, rel=1e-3)
    assert ours.energy == pytest.approx(symmetric_dirichlet_energy(mesh, ours.flat_mm), rel=1e-12)


@pytest.mark.parametrize("half_angle", [0.5, 1.4, 2.2])
def test_circle_and_conformal_starts_end_in_the_same_place(half_angle: float) -> None:
    mesh = solids.spherical_cap(100.0, half_angle, 8.0)
    border = solids.border_rounds(mesh)[0]
    reached = [
        minimise_symmetric_dirichlet(mesh, start(mesh, border))
        for start in (conformal_start, circle_map)
    ]
    assert all(r.converged for r in reached)
    assert all(flipped_faces(mesh, r.flat_mm) == 0 for r in reached)
    assert reached[0].energy == pytest.approx(reached[1].energy, rel=1e-6)


def test_minimum_is_flat_in_every_direction() -> None:
    """Moving any vertex by h changes the energy by order h^2 only, and never downwards."""
    mesh = solids.spherical_cap(50.0, 1.0, 12.0)
    best = minimise_symmetric_dirichlet(mesh, conformal_start(mesh, solids.border_rounds(mesh)[0]))
    for vertex in range(0, len(mesh.vertices), 5):
        for axis in (0, 1):
            for h in (-1e-3, 1e-3):
                moved = best.flat_mm.copy()
                moved[vertex, axis] += h
                change = symmetric_dirichlet_energy(mesh, moved) - best.energy
                assert 0.0 < change < 1e-6


def test_start_with_a_flipped_triangle_is_refused() -> None:
    mesh = solids.spherical_cap(50.0, 1.0, 12.0)
    start = conformal_start(mesh, solids.border_rounds(mesh)[0])
    with pytest.raises(MeshError, match="flipped"):
        minimise_symmetric_dirichlet(mesh, start * np.array([-1.0, 1.0]))


def test_too_few_steps_are_owned_up_to() -> None:
    mesh = solids.spherical_cap(50.0, 1.5, 6.0)
    start = circle_map(mesh, solids.border_rounds(mesh)[0])
    assert not minimise_symmetric_dirichlet(mesh, start, max_iterations=1).converged


def test_conformal_start_has_the_surface_area_and_keeps_angles() -> None:
    mesh = solids.spherical_cap(100.0, 1.0, 5.0)
    flat = conformal_start(mesh, solids.border_rounds(mesh)[0])
    formed = igl.internal_angles(mesh.vertices, mesh.faces)
    laid = igl.internal_angles(np.column_stack([flat, np.zeros(len(flat))]), mesh.faces)
    assert np.abs(formed - laid).mean() < np.radians(0.5)
    p = flat[mesh.faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    area = 0.5 * float((e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]).sum())
    assert area == pytest.approx(mesh.area_mm2(), rel=1e-9)
