"""Array types and the checks every value passes once, on construction.

The dtype is in the alias; the shape stands in the docstring of whatever holds the
array, as ``(V, 3) float mm``.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitkit.errors import ShapeError

__all__ = ["Bools", "Bytes", "Floats", "Ints", "frozen_bools", "frozen_floats", "frozen_ints"]

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
Bytes: TypeAlias = NDArray[np.uint8]


def _checked(array: NDArray[Any], shape: tuple[int | None, ...], name: str) -> None:
    matches = array.ndim == len(shape) and all(
        wanted is None or wanted == actual
        for wanted, actual in zip(shape, array.shape, strict=True)
    )
    if not matches:
        wanted = "(" + ", ".join("any" if n is None else str(n) for n in shape) + ")"
        raise ShapeError(
            f"{name} has shape {array.shape}, expected {wanted}.",
            "Pass an array of the expected shape.",
        )


def frozen_floats(values: ArrayLike, shape: tuple[int | None, ...], name: str) -> Floats:
    """Return a read-only float64 copy after checking shape and finiteness.

    Raises
    ------
    ShapeError
        When the shape differs or a value is not finite.
    """
    array = np.array(values, dtype=np.float64)
    _checked(array, shape, name)
    if not np.isfinite(array).all():
        count = int((~np.isfinite(array)).sum())
        raise ShapeError(f"{name} holds {count} values that are not finite.", "Remove them first.")
    array.flags.writeable = False
    return array


def frozen_ints(
    values: ArrayLike, shape: tuple[int | None, ...], name: str, *, below: int | None = None
) -> Ints:
    """Return a read-only int64 copy after checking shape and, with ``below``, 0 <= value < below.

    Raises
    ------
    ShapeError
        When the shape differs or an index is out of range.
    """
    array = np.array(values, dtype=np.int64)
    if array.size == 0 and array.ndim == 1 and len(shape) > 1:
        array = array.reshape(tuple(0 if n is None else n for n in shape))
    _checked(array, shape, name)
    if below is not None and array.size and (array.min() < 0 or array.max() >= below):
        raise ShapeError(
            f"{name} runs from {array.min()} to {array.max()}, allowed is 0 to {below - 1}.",
            "Pass indices of existing rows.",
        )
    array.flags.writeable = False
    return array


def frozen_bools(values: ArrayLike, shape: tuple[int | None, ...], name: str) -> Bools:
    """Return a read-only bool copy after checking its shape."""
    array = np.array(values, dtype=np.bool_)
    _checked(array, shape, name)
    array.flags.writeable = False
    return array
