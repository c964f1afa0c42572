"""Lines that keep their length on the blank."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.flatten.conformal_start import conformal_start
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.held_lines import HeldLines
from fitkit.flatten.jacobian import FaceGradients
from fitkit.geometry.arrays import Floats
from tests.truth import solids


def length_mm(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def laid_mm(flat: FlatPatch, line: str) -> float:
    pieces = [edge.points_mm for edge in flat.outline if edge.line == line]
    pieces += [inner.points_mm for inner in flat.inner_lines if inner.line == line]
    return sum(map(length_mm, pieces))


def test_rim_of_a_bowl_keeps_its_length_where_it_is_held() -> None:
    mesh = solids.spherical_cap(100.0, 0.8, 4.0)
    rim = solids.border_rounds(mesh)[0]
    formed = length_mm(mesh.vertices[np.append(rim, rim[0])])
    free, held = (
        flatten_patch(solids.patch_of(mesh, lines=("rim",), material="aluminium", hold=hold))
        for hold in ((), ("rim",))
    )
    assert abs(laid_mm(free, "rim") / formed - 1.0) > 0.03
    assert laid_mm(held, "rim") == pytest.approx(formed, rel=3e-4)
    # The rim kept, the least the middle can do is stretch by alpha / sin(alpha) (Milnor 1969).
    assert held.stretch.max() == pytest.approx(0.8 / np.sin(0.8), rel=0.01)


def test_girth_across_a_swelling_sleeve_is_kept_where_it_is_held() -> None:
    mesh = solids.frustum(60.0, 40.0, 200.0, 6.0, capped=False)
    around = len(solids.border_rounds(mesh)[0])
    v = mesh.vertices
    wider = 1.0 + 0.08 * np.sin(np.pi * v[:, 2] / 200.0)
    mesh = mesh.with_vertices(v * np.column_stack([wider, wider, np.ones(len(v))]))
    middle = (len(v) // around // 2) * around
    level = np.append(middle + np.arange(around), middle)
    formed = length_mm(mesh.vertices[level])
    patch = {"lines": ("elbow", "wrist"), "inner": {"belly": level}, "material": "leather"}
    free, held = (
        flatten_patch(solids.patch_of(mesh, hold=hold, **patch)) for hold in ((), ("belly",))
    )
    assert abs(laid_mm(free, "belly") / formed - 1.0) > 0.005
    assert laid_mm(held, "belly") == pytest.approx(formed, rel=1e-3)


def test_unknown_line_to_hold_is_refused_with_those_there_are() -> None:
    mesh = solids.spherical_cap(100.0, 0.5, 10.0)
    with pytest.raises(DesignError, match="hem") as caught:
        flatten_patch(solids.patch_of(mesh, lines=("rim",), hold=("hem",)))
    assert "rim" in caught.value.remedy


def test_energy_falls_and_rises_as_its_derivatives_say() -> None:
    mesh = solids.spherical_cap(50.0, 0.9, 12.0)
    rim = solids.border_rounds(mesh)[0]
    flat = 1.02 * conformal_start(mesh, rim)
    gradients = FaceGradients(mesh)
    ring = np.append(rim, rim[0])
    held = HeldLines(mesh, flat, [(flat[ring], 1.01 * length_mm(mesh.vertices[ring]))])
    pulls = np.zeros((len(mesh.faces), 6))
    held.add_derivatives(gradients.jacobians(flat), pulls, np.zeros((len(mesh.faces), 6, 6)))
    rng = np.random.default_rng(5)
    move = rng.normal(size=flat.shape)
    slope = float((pulls.reshape(-1, 3, 2) * move[mesh.faces]).sum())
    h = 1e-6
    ahead, behind = (held.energy(gradients.jacobians(flat + s * h * move)) for s in (1, -1))
    assert slope == pytest.approx((ahead - behind) / (2 * h), rel=1e-5)
