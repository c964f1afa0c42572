"""Arrays are checked once and cannot be changed afterwards."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import ShapeError
from fitkit.geometry.arrays import frozen_bools, frozen_floats, frozen_ints


def test_a_frozen_array_is_a_copy_that_cannot_be_written() -> None:
    source = np.zeros((2, 3))
    frozen = frozen_floats(source, (None, 3), "points")
    source[0, 0] = 7.0
    assert frozen[0, 0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        frozen[0, 0] = 1.0


def test_a_wrong_shape_is_named_with_both_shapes() -> None:
    with pytest.raises(ShapeError) as caught:
        frozen_floats(np.zeros((2, 2)), (None, 3), "vertices")
    assert caught.value.cause == "vertices has shape (2, 2), expected (any, 3)."


def test_values_that_are_not_finite_are_counted() -> None:
    with pytest.raises(ShapeError, match="2 values"):
        frozen_floats([1.0, np.nan, np.inf], (None,), "lengths")


@pytest.mark.parametrize("bad", [-1, 4])
def test_an_index_out_of_range_is_refused(bad: int) -> None:
    with pytest.raises(ShapeError, match="allowed is 0 to 3"):
        frozen_ints([[0, 1, bad]], (None, 3), "faces", below=4)


def test_an_empty_list_has_the_expected_columns() -> None:
    assert frozen_ints([], (None, 3), "faces", below=1).shape == (0, 3)


def test_flags_keep_their_shape() -> None:
    with pytest.raises(ShapeError):
        frozen_bools([True], (2,), "seen")
