"""Pivots: about which line a plate swings freely, and where its holes are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["PivotFit", "PlacedPivot", "best_pivot", "pivot_holes", "pivot_sizes"]

_HOLE_PLAY_MM = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class PivotFit:
    """The line of one direction about which a surface slides most nearly into itself.

    Attributes
    ----------
    at_mm
        (3,) float mm: the point of the line nearest to the surface's middle.
    rise_mm
        How far the surface moves off itself in a turn of a tenth of a radian, root mean square.
    """

    at_mm: Floats
    rise_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPivot:
    """A pivot of a patch as drawn.

    Attributes
    ----------
    patch, joint
        Names.
    screw_mm
        The screw's or rivet's diameter.
    holes_mm
        (2, 3) float mm: where to drill, in the plate and through into what carries it.
    rise_mm
        As in :class:`PivotFit`, about the line it was put on.
    """

    patch: str
    joint: str
    screw_mm: float
    holes_mm: Floats
    rise_mm: float


def best_pivot(mesh: TriangleMesh, axis: Floats, at_mm: Floats | None = None) -> PivotFit:
    """Return where a line of a given direction, (3,) float unit, has to lie for a plate to clear.

    Turned about a through c, a place x moves by a x (x - c). What of it is along the surface's
    normal n lifts the plate off what it covers or drives it in; its square over the surface is
    least for a c that comes out of a linear system. A piece of a sphere gets the sphere's middle,
    whatever the direction; a piece of a round tube the tube's own axis. With ``at_mm``, (3,) float
    mm, the line is put there and only its rise told.

    References
    ----------
    N. Gelfand, L. Guibas, *Shape segmentation using local slippage analysis*, Eurographics
    Symposium on Geometry Processing 2004.
    """
    x = mesh.corners.mean(axis=1)
    scaled = mesh.face_normals_scaled()
    size = np.linalg.norm(scaled, axis=1)
    n = scaled / np.maximum(size, 1e-300)[:, np.newaxis]
    middle: Floats = np.average(x, axis=0, weights=size)
    arm = x - middle
    # n . (a x (x - c)) = n . (a x x) - c . (n x a)
    rows = np.cross(n, axis)
    wanted = np.einsum("fi,fi->f", n, np.cross(axis, arm))
    weight = np.sqrt(size / size.sum())
    if at_mm is None:
        centre = np.linalg.lstsq(rows * weight[:, np.newaxis], wanted * weight, rcond=1e-6)[0]
    else:
        centre = at_mm - middle
    centre = centre - (centre @ axis) * axis
    left = wanted - rows @ centre
    return PivotFit(middle + centre, 0.1 * float(np.linalg.norm(left * weight)))


def pivot_holes(mesh: TriangleMesh, at_mm: Floats, axis: Floats) -> Floats:
    """(2, 3) float mm: the places of a plate nearest to the line, one at each of its ends."""
    arm = mesh.vertices - at_mm
    along = arm @ axis
    off = np.linalg.norm(arm - np.outer(along, axis), axis=1)
    middle = 0.5 * (along.min() + along.max())
    holes = []
    for side in (along > middle, along <= middle):
        own = np.flatnonzero(side)
        holes.append(mesh.vertices[own[int(off[own].argmin())]])
    return np.array(holes)


def pivot_sizes(screw_mm: float) -> dict[str, float]:
    """Return hole, washer and recess for a screw or rivet as a pivot, mm.

    The hole has a slip of 0.3 mm; the washer is three times as wide as the screw, the recess that
    takes it a millimetre wider. Common practice, no source.
    """
    washer = 3.0 * screw_mm
    return {
        "hole_mm": screw_mm + _HOLE_PLAY_MM,
        "washer_mm": washer,
        "recess_mm": washer + 1.0,
    }
