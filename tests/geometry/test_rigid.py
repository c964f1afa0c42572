"""Rigid motions chain and invert as their names say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from fitkit.errors import ShapeError
from fitkit.geometry.rigid import RigidTransform

numbers = st.floats(-1000.0, 1000.0)
motions = st.builds(
    lambda turn, shift: RigidTransform(
        Rotation.from_rotvec(np.array(turn) / 300.0).as_matrix(), np.array(shift)
    ),
    st.tuples(numbers, numbers, numbers),
    st.tuples(numbers, numbers, numbers),
)


@given(motions, motions)
def test_a_product_is_one_motion_after_the_other(a: RigidTransform, b: RigidTransform) -> None:
    points = np.array([[1.0, 2.0, 3.0], [-40.0, 5.0, 0.5]])
    np.testing.assert_allclose((a @ b).apply(points), a.apply(b.apply(points)), atol=1e-8)


@given(motions)
def test_an_inverse_undoes(a: RigidTransform) -> None:
    points = np.array([[1.0, 2.0, 3.0]])
    np.testing.assert_allclose(a.inverse().apply(a.apply(points)), points, atol=1e-8)


def test_a_turn_moves_directions_without_shift() -> None:
    quarter = RigidTransform(
        Rotation.from_euler("z", 90, degrees=True).as_matrix(), np.array([5.0, 5.0, 5.0])
    )
    np.testing.assert_allclose(quarter.turn(np.array([1.0, 0, 0])), [0, 1, 0], atol=1e-12)


@pytest.mark.parametrize("matrix", [2 * np.eye(3), np.diag([1.0, 1.0, -1.0])])
def test_a_scaling_or_a_mirror_is_no_rotation(matrix: np.ndarray) -> None:
    with pytest.raises(ShapeError):
        RigidTransform(matrix, np.zeros(3))
