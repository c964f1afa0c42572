"""Tape lines at a distance from another."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.parallel_path import parallel_path
from fitkit.geometry.straight_walk import unit_normals
from fitkit.geometry.surface_path import SurfacePath
from fitkit.patch.design import ParallelLine
from fitkit.patch.form import Form

__all__ = ["parallel_line"]

_WAYS: dict[str, tuple[float, float, float]] = {
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
}
# The sides of a line must differ so much in a direction that it tells them apart.
_CLEAR = 0.2


def parallel_line(form: Form, design: ParallelLine, of: SurfacePath) -> SurfacePath:
    """Return the line at a distance from another, on the side that its design tells.

    Raises
    ------
    DesignError
        When the distance is not above zero, or the side is not clear.
    PathError
        When the parallel runs off the form, with the place.
    """
    if not design.distance_mm > 0:
        raise DesignError(
            f"The line '{design.name}' is {design.distance_mm:g} mm from the line '{design.of}'.",
            "Give a distance above zero; towards says on which side.",
        )
    if design.towards in ("in", "out"):
        if not of.closed:
            raise DesignError(
                f"The line '{design.name}' runs {design.towards} from the line '{design.of}', "
                "which does not close.",
                f"Use one of: {', '.join(_WAYS)}.",
            )
        shorter = min if design.towards == "in" else max
        return _of_both(form.mesh, of, design.distance_mm, shorter)
    way = np.array(_WAYS[design.towards])
    share = float(_left_of(form.mesh, of) @ way)
    if abs(share) < _CLEAR:
        others = "in or out" if of.closed else "another direction"
        raise DesignError(
            f"Neither side of the line '{design.of}' lies clearly {_worded(design.towards)} it, "
            f"as the line '{design.name}' asks for.",
            f"Use {others}.",
        )
    return parallel_path(form.mesh, of, design.distance_mm * float(np.sign(share)))


def _of_both(
    mesh: TriangleMesh, of: SurfacePath, distance_mm: float, choose: Callable[..., float]
) -> SurfacePath:
    """Return the shorter or the longer of the parallels on both sides."""
    # A short way off tells which side is which, where the full distance may not exist on both.
    probe = min(distance_mm, 5.0)
    lengths = {sign: parallel_path(mesh, of, sign * probe).length_mm() for sign in (1.0, -1.0)}
    sign = choose(lengths, key=lambda key: lengths[key])
    return parallel_path(mesh, of, sign * distance_mm)


def _left_of(mesh: TriangleMesh, path: SurfacePath) -> Floats:
    """(3,) float: mean of the directions to the left of a line, within the surface."""
    ways = np.diff(path.round_points_mm, axis=0)
    left: Floats = np.cross(unit_normals(mesh, path.faces), ways).sum(axis=0)
    return left / max(float(np.linalg.norm(ways, axis=1).sum()), 1e-300)


def _worded(towards: str) -> str:
    return {"up": "above", "down": "below", "front": "in front of", "back": "behind"}.get(
        towards, f"to the {towards} of"
    )
