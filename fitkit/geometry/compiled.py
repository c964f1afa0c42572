"""Loops over points and triangles compiled by numba."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

__all__ = ["compiled"]

_Function = TypeVar("_Function", bound=Callable[..., Any])


def compiled(function: _Function) -> _Function:
    """Compile a function of arrays and numbers; the machine code is kept beside the source.

    It lets go of the interpreter, so that several can run at once.
    """
    return cast("_Function", numba.njit(cache=True, nogil=True)(function))
