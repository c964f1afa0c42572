"""Loops over points, triangles and blocks compiled for one core by numba."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
from numba.extending import register_jitable

__all__ = ["compiled", "compiled_fast", "compiled_into", "compiled_within"]

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


def compiled_within(function: _Function) -> _Function:
    """Compile a function only where compiled loops call it; others run it as it stands.

    For one that makes a named tuple: handed out of code that was kept beside the source, its class
    is not always found again, and the process ends (seen with a kept cache).
    """
    return register_jitable(function)
