"""Noise taken off a form, and what it then does to the blank."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.smoothing import TOLERANCE_MM, noise_mm, smoothed_form
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

CAP = solids.spherical_cap(100.0, 0.7, 4.0)


def rough(mesh: TriangleMesh, size_mm: float, seed: int = 4) -> TriangleMesh:
    """Return a ball's piece about the origin with every vertex moved in or out at random."""
    height = np.random.default_rng(seed).normal(scale=size_mm, size=(len(mesh.vertices), 1))
    return mesh.with_vertices(mesh.vertices * (1.0 + height / 100.0))


def off_mm(one: FlatPatch, other: FlatPatch) -> Floats:
    """Return how far each point of one outline is from the same of the other, laid on it best."""
    a, b = (np.concatenate([edge.points_mm[:-1] for edge in flat.outline]) for flat in (one, other))
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    u, _, v = np.linalg.svd(b.T @ a)
    apart: Floats = np.linalg.norm(a - b @ (u @ v), axis=1)
    return apart


@pytest.mark.parametrize("size_mm", [0.2, 0.5, 1.0])
def test_noise_is_measured_and_mostly_gone(size_mm: float) -> None:
    noisy = rough(CAP, size_mm)
    assert noise_mm(noisy) == pytest.approx(size_mm, rel=0.1)
    smoothed = smoothed_form(noisy)
    left = np.linalg.norm(smoothed.mesh.vertices, axis=1) - 100.0
    assert left.std() < 0.5 * size_mm
    assert abs(left.mean()) < 0.2
    assert smoothed.moved_mm <= TOLERANCE_MM
    assert smoothed.noise_mm == pytest.approx(size_mm, rel=0.1)


def test_clean_form_is_left_alone() -> None:
    for mesh in (CAP, solids.saddle(60.0, 0.01, 5.0), solids.ellipsoid((90.0, 60.0, 40.0), 5.0)):
        assert noise_mm(mesh) < 0.05
        assert smoothed_form(mesh).mesh is mesh


def test_millimetre_noise_changes_the_blank_by_less_than_half_a_millimetre() -> None:
    clean = flatten_patch(solids.patch_of(CAP, material="aluminium"))
    noisy = flatten_patch(solids.patch_of(rough(CAP, 1.0), material="aluminium"))
    assert off_mm(clean, noisy).max() < 0.5
    assert "form-noise" in {finding.code for finding in noisy.findings}
    worst = [np.log(flat.stretch.max() / flat.stretch.min()) for flat in (clean, noisy)]
    assert worst[1] == pytest.approx(worst[0], rel=0.12)


def test_sides_of_a_seam_stay_together() -> None:
    sleeve = solids.cylinder(100.0, 80.0, 5.0, capped=False)
    height = np.random.default_rng(8).normal(scale=0.4, size=len(sleeve.vertices))
    away = sleeve.vertices * [1.0, 1.0, 0.0] / 100.0
    flat = flatten_patch(
        solids.patch_of(sleeve.with_vertices(sleeve.vertices + height[:, None] * away))
    )
    there, back = (edge.points_mm for edge in flat.outline if edge.line == "seam")
    steps = [np.linalg.norm(np.diff(side, axis=0), axis=1) for side in (there, back[::-1])]
    assert steps[0] == pytest.approx(steps[1], rel=0.02)
