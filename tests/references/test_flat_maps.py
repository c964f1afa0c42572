"""Our flat maps beside libigl's on the same meshes: never a worse worst strain."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from fitkit.flatten.conformal_start import conformal_start
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.minimax import log_ratio
from fitkit.flatten.symmetric_dirichlet import minimise_symmetric_dirichlet
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from tests.references.flat_maps import arap_map, lscm_map, slim_map
from tests.truth import solids
from tests.truth.body_patches import BODY_PATCHES, body_patch, round_patch


def bent_plate() -> TriangleMesh:
    """Return a rectangle over a bump beside a hollow."""
    flat = solids.plane_rectangle(200.0, 140.0, 6.0)
    x, _, z = flat.vertices.T
    bump = 18.0 * np.exp(-((x - 70) ** 2 + (z - 60) ** 2) / 1800.0)
    hollow = 9.0 * np.exp(-((x - 150) ** 2 + (z - 90) ** 2) / 900.0)
    return flat.with_vertices(np.column_stack([x, hollow - bump, z]))


PLATES = {
    "cap": solids.spherical_cap(100.0, 0.9, 5.0),
    "saddle": solids.saddle(70.0, 0.008, 5.0),
    "bump and hollow": bent_plate(),
}


@pytest.mark.parametrize("name", PLATES)
def test_worst_strain_is_less_than_lscm_arap_and_slim_leave(name: str) -> None:
    flat = flatten_patch(solids.patch_of(PLATES[name], material="aluminium"))
    ours = log_ratio(flat.form, flat.flat_mm)
    # A map with a flipped triangle counts as infinitely bad.
    theirs = {
        m.__name__: log_ratio(flat.form, m(flat.form)) for m in (lscm_map, arap_map, slim_map)
    }
    assert ours < 0.95 * min(theirs.values()), theirs


@pytest.mark.parametrize("name", BODY_PATCHES)
def test_body_plates_need_at_most_0_6_of_what_symmetric_dirichlet_leaves(name: str) -> None:
    """Plates as a maker bounds them: rounds above and below, a line down each side, half round.

    Symmetric Dirichlet by our own Newton steps, which reach what libigl's SLIM does (bench).
    """
    flat = flatten_patch(solids.patch_of(body_patch(name, 12.0), material="aluminium 1100-O"))
    mesh = flat.form
    start = conformal_start(mesh, solids.border_rounds(mesh)[0])
    even = minimise_symmetric_dirichlet(mesh, start)
    assert even.converged
    assert log_ratio(mesh, flat.flat_mm) <= 0.6 * log_ratio(mesh, even.flat_mm)


def test_round_piece_of_a_thigh_is_near_the_least_that_any_map_leaves() -> None:
    """Where curvature is even, symmetric Dirichlet is good already and 0.6 of it is out of reach.

    A disc of radius r about a place whose rim is L long: its image holds a disc of radius r / T and
    has a rim of at most T L, so T^2 >= 2 pi r / L for any map (the argument of Milnor 1969).
    """
    flat = flatten_patch(solids.patch_of(round_patch("thigh", 12.0), material="aluminium 1100-O"))
    mesh = flat.form
    ring = solids.border_rounds(mesh)[0]
    every, none = np.arange(len(mesh.vertices)), np.zeros(0, dtype=np.int64)

    def away(sources: Ints) -> Floats:
        found: Floats = igl.exact_geodesic(mesh.vertices, mesh.faces, sources, none, every, none)
        return found

    middle = int(np.argmax(away(ring)))
    from_middle = away(np.array([middle]))
    least = max(
        np.log(2.0 * np.pi * r / rim_mm(mesh, from_middle, r))
        for r in np.linspace(0.7, 1.0, 7) * (from_middle[ring].min() - 1e-6)
    )
    reached = log_ratio(mesh, flat.flat_mm)
    assert least < reached < 1.1 * least


def rim_mm(mesh: TriangleMesh, distance: Floats, r: float) -> float:
    """Length of the line on which a distance, linear over each triangle, is r."""
    total = 0.0
    for at, d in zip(mesh.corners, distance[mesh.faces], strict=True):
        ends = [
            at[i] + (r - d[i]) / (d[j] - d[i]) * (at[j] - at[i])
            for i, j in ((0, 1), (1, 2), (2, 0))
            if (d[i] < r) != (d[j] < r)
        ]
        if len(ends) == 2:
            total += float(np.linalg.norm(ends[0] - ends[1]))
    return total
