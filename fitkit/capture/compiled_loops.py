"""Compiled loops over pixels and points: numba, set up once for this room."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
from numba import prange

__all__ = ["compiled", "compiled_freely", "prange"]

# OpenMP first: numba warns about, and then skips, the TBB library that Open3D brings along.
_config: Any = numba.config
_config.THREADING_LAYER_PRIORITY = ["omp", "tbb", "workqueue"]
# Read when the first loop runs: threads that have nothing to do sleep instead of spinning.
os.environ.setdefault("OMP_WAIT_POLICY", "passive")

_Function = TypeVar("_Function", bound=Callable[..., Any])


def compiled(function: _Function) -> _Function:
    """Compile a function of arrays and numbers; its ``prange`` loops run on all cores.

    The machine code is kept beside the source, so that only the first run ever waits.
    """
    return cast("_Function", numba.njit(parallel=True, cache=True)(function))


def compiled_freely(function: _Function) -> _Function:
    """Compile as :func:`compiled` does, sums in whatever order is fastest.

    For loops whose numbers are all finite; the last digits may differ between processors.
    """
    made = numba.njit(parallel=True, cache=True, fastmath=True, error_model="numpy")(function)
    return cast("_Function", made)
