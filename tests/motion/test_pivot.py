"""The best line to swing about is the one the shape was turned on."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.mesh import TriangleMesh
from fitkit.motion.pivot import best_pivot, pivot_holes, pivot_sizes
from fitkit.motion.riding_plate import PivotRide
from fitkit.motion.sweep import SweepSettings, sweep
from tests.motion.simple_plates import ball, bowl, hinge, plate, tube

SHIFT = np.array([30.0, -12.0, 1500.0])


@pytest.mark.parametrize("axis", [(1.0, 0.0, 0.0), (0.6, 0.0, 0.8), (0.0, 0.0, 1.0)])
def test_a_visor_off_a_ball_pivots_about_the_balls_middle(axis: tuple[float, ...]) -> None:
    mesh = bowl(104.0, -0.5, 0.3, 1.2)
    unit = np.array(axis)
    fit = best_pivot(TriangleMesh(mesh.vertices + SHIFT, mesh.faces), unit)
    off = fit.at_mm - SHIFT
    # The flat faces of the mesh lie up to 0.1 mm within the ball.
    assert np.linalg.norm(off - (off @ unit) * unit) < 0.5
    assert fit.rise_mm < 0.1


def test_a_sleeve_turns_about_its_own_axis_and_an_oval_one_says_that_it_binds() -> None:
    up = np.array([0.0, 0.0, 1.0])
    round_one = best_pivot(tube(50, 50, 0, 80), up)
    assert np.abs(round_one.at_mm[:2]).max() < 1e-6
    assert round_one.rise_mm < 0.1  # 96 flats round
    oval = best_pivot(tube(60, 40, 0, 80), up)
    assert np.abs(oval.at_mm[:2]).max() < 1e-6
    assert oval.rise_mm > 0.5


def test_a_visor_on_its_best_pivot_clears_the_head_where_one_beside_it_does_not() -> None:
    axis = np.array([-1.0, 0.0, 0.0])
    body, asked = hinge((0.0, 25.0, -30.0), (-1.0, 0.0, 0.0), 70.0, ball(100.0))
    visor = plate("visor", bowl(104.0, -0.5, 0.3, 1.2), beyond=False, thickness_mm=1.0)
    hard = SweepSettings(tolerance_mm=0.0, soft_mm=0.0)

    def swung_about(at: np.ndarray) -> tuple[object, ...]:
        pivot = PivotRide(at, axis, "left elbow", 1.0)
        worn = type(visor)(
            visor.name, visor.patch, visor.side, visor.mesh, visor.thickness_mm, {}, pivot
        )
        return sweep(body, [worn], [asked], hard)[0].contacts

    assert swung_about(best_pivot(visor.mesh, axis).at_mm) == ()
    assert swung_about(np.array([0.0, -9.0, 0.0])) != ()


def test_holes_lie_on_the_line_one_at_each_side() -> None:
    mesh = bowl(104.0, -0.5, 0.3, 1.5)
    holes = pivot_holes(mesh, np.zeros(3), np.array([1.0, 0.0, 0.0]))
    assert holes[0][0] > 95
    assert holes[1][0] < -95
    assert pivot_sizes(4.0) == {"hole_mm": 4.3, "washer_mm": 12.0, "recess_mm": 13.0}
