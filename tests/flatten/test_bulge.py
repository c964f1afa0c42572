"""The log scale that ranks relief cuts, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.bulge import Bulge
from fitkit.geometry.topology import boundary_loops
from tests.truth import solids


@pytest.mark.parametrize("half_angle_deg", [30, 60, 90])
def test_cap_has_the_stereographic_scale(half_angle_deg: int) -> None:
    """Stereographic projection scaled to keep the rim: u = 2 log(cos(t/2)) - 2 log(cos(T/2))."""
    whole = np.radians(half_angle_deg)
    mesh = solids.spherical_cap(100.0, whole, 100.0 * whole / 20.0)
    u = Bulge(mesh, boundary_loops(mesh)[0]).log_scale()
    polar = np.arccos(mesh.vertices[:, 2] / 100.0)
    true = 2.0 * np.log(np.cos(polar / 2.0)) - 2.0 * np.log(np.cos(whole / 2.0))
    assert np.abs(u - true).max() < 0.01 * true.max()


def test_developable_has_none_and_saddle_is_negative() -> None:
    panel = solids.cylinder_panel(60.0, 1.5, 80.0, 6.0)
    assert np.abs(Bulge(panel, boundary_loops(panel)[0]).log_scale()).max() < 1e-9
    saddle = solids.saddle(60.0, 0.02, 5.0)
    assert Bulge(saddle, boundary_loops(saddle)[0]).log_scale().max() <= 0.0
