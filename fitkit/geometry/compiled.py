"""Loops over points, triangles and blocks compiled for one core by numba."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

__all__ = ["compiled", "compiled_fast", "compiled_into"]

_Function = TypeVar("_Function", bound=Callable[..., Any])


def compiled(function: _Function) -> _Function:
    """Compile a function of arrays and numbers; the machine code is kept beside the source.

    It lets go of the interpreter, so that several can run at once.
    """
    return cast("_Function", numba.njit(cache=True, nogil=True)(function))


def compiled_fast(function: _Function) -> _Function:
    """Compile as :func:`compiled`, letting sums be added up in whatever order is fastest."""
    return cast("_Function", numba.njit(cache=True, fastmath={"reassoc", "contract"})(function))


def compiled_into(function: _Function) -> _Function:
    """Compile a small function into those that call it: no call, no handing over of arrays.

    Products are added without rounding between; numbers may not be NaN.
    """
    shortcuts = {"contract", "nnan", "nsz"}
    into = numba.njit(cache=True, forceinline=True, fastmath=shortcuts)
    return cast("_Function", into(function))
