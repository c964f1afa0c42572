"""Linear algebra of many small systems, on one thread.

The library below numpy wakes all cores for every solve and lets them spin between two; for
systems of some hundred unknowns that costs more than the solving.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

__all__ = ["on_one_thread"]

_Told = ParamSpec("_Told")
_Result = TypeVar("_Result")


def on_one_thread(function: Callable[_Told, _Result]) -> Callable[_Told, _Result]:
    """Return the function with the linear algebra inside it kept to one thread."""

    @wraps(function)
    def alone(*told: _Told.args, **named: _Told.kwargs) -> _Result:
        with threadpool_limits(limits=1, user_api="blas"):
            return function(*told, **named)

    return alone
