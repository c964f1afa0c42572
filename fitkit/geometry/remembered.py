"""Keeping what was worked out of a mesh for as long as the mesh is there."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar
from weakref import WeakKeyDictionary

from fitkit.geometry.mesh import TriangleMesh

__all__ = ["remembered"]

_Result = TypeVar("_Result")


def remembered(function: Callable[[TriangleMesh], _Result]) -> Callable[[TriangleMesh], _Result]:
    """Call a function of a mesh once for each mesh, and hand out the same result again.

    A mesh never changes, so neither does the result; it must not be changed either. It goes when
    the mesh goes.
    """
    known: WeakKeyDictionary[TriangleMesh, _Result] = WeakKeyDictionary()

    @wraps(function)
    def once(mesh: TriangleMesh) -> _Result:
        if mesh not in known:
            known[mesh] = function(mesh)
        return known[mesh]

    return once
