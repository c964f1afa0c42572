"""A sheet that only bends, laid over forms that bend one way and both ways."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.rolled_fit import rolled_fit
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids


def barrel(swell: float) -> TriangleMesh:
    """Return a panel of a cylinder of radius 80 that swells by a share in the middle."""
    panel = solids.cylinder_panel(80.0, 1.4, 140.0, 7.0)
    v = panel.vertices
    up = (v[:, 2] - v[:, 2].min()) / np.ptp(v[:, 2])
    wider = 1.0 + swell * np.sin(np.pi * up)
    return panel.with_vertices(v * np.column_stack([wider, wider, np.ones(len(v))]))


def test_cylinder_is_met_without_a_gap() -> None:
    flat = flatten_patch(solids.patch_of(barrel(0.0), material="card"))
    fit = rolled_fit(flat.form, flat.flat_mm, 0.01)
    assert fit.most_mm < 0.01
    assert fit.strain < 1e-4


def test_barrel_is_bridged_by_a_gap_that_grows_with_its_swell() -> None:
    """A straight sheet over a bulge of height h is off by h between its best and worst places.

    With its ends lifted and its middle pressed alike that is h / 2 each way, and less by what the
    sheet still gives; it cannot be nothing.
    """
    gaps = []
    for swell in (0.12, 0.2):
        flat = flatten_patch(solids.patch_of(barrel(swell), material="card"))
        fit = rolled_fit(flat.form, flat.flat_mm, 0.01)
        # It gives by as much as it may, so that the gap is no larger than it must be.
        assert 0.7 * 0.01 < fit.strain <= 0.01
        assert 0.1 * 80.0 * swell < fit.most_mm < 80.0 * swell
        assert fit.usual_mm <= fit.most_mm
        gaps.append(fit.most_mm)
    assert gaps[1] > 1.2 * gaps[0]


def test_card_over_a_dome_says_how_far_it_stands_off() -> None:
    dome = solids.spherical_cap(100.0, 0.5, 6.0)
    flat = flatten_patch(solids.patch_of(dome, material="card"))
    (told,) = [f for f in flat.findings if f.code == "roll-gap"]
    # The dome is 12.2 mm high: a sheet bent one way is off by no more than that.
    assert told.number is not None
    assert 1.0 < told.number < 100.0 * (1.0 - np.cos(0.5))
    metal = flatten_patch(solids.patch_of(dome, material="aluminium"))
    assert "roll-gap" not in {f.code for f in metal.findings}
    rolled = flatten_patch(solids.patch_of(dome, material="aluminium 3003-H14", forming="roll"))
    assert "roll-gap" not in {f.code for f in rolled.findings}
    assert rolled.stretch.max() * rolled.stretch.min() == pytest.approx(1.0, abs=1e-9)
