"""Closed shells that overlap made into one: an arm that was modelled as a piece of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.solid_cut import united
from fitkit.geometry.topology import components
from fitkit.geometry.winding import winding_number

__all__ = ["JoinedShells", "joined_shells"]

_INSIDE = 0.5
# A sheet closed on itself has next to no volume for its area and is no part of a body.
_FLAT = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class JoinedShells:
    """The body's shell, and what became of the others.

    Attributes
    ----------
    mesh
        One closed piece, wound outward.
    united, inner
        How many shells were united with it, and how many lay wholly inside it.
    apart_mm2
        Areas of those that touch it nowhere.
    """

    mesh: TriangleMesh
    united: int
    inner: int
    apart_mm2: tuple[float, ...]


def joined_shells(mesh: TriangleMesh) -> JoinedShells:
    """Unite the largest shell of a mesh with all that overlap it, directly or by way of others.

    Parameters
    ----------
    mesh
        Closed, at most two faces along an edge; pieces may be wound either way.

    References
    ----------
    The union is that of the library manifold3d (Apache-2.0), exact up to rounding.
    """
    labels = components(mesh)
    count = int(labels.max()) + 1
    if count == 1:
        return JoinedShells(mesh, 0, 0, ())
    pieces = [_outward(mesh.faces_only(labels == k)[0]) for k in range(count)]
    areas = [float(piece.face_areas_mm2().sum()) for piece in pieces]
    order = np.argsort(areas)[::-1].tolist()
    main, waiting = pieces[order[0]], order[1:]
    joined = inner = 0
    again = True
    while again:
        again, left = False, []
        for k in waiting:
            inside = _inside(main, pieces[k].vertices)
            if inside.all():
                inner += 1
            elif _is_flat(pieces[k], areas[k]) or not (
                inside.any() or _inside(pieces[k], _near(main, pieces[k])).any()
            ):
                left.append(k)
            else:
                main, joined, again = _largest(united([main, pieces[k]])), joined + 1, True
        waiting = left
    return JoinedShells(main, joined, inner, tuple(areas[k] for k in waiting))


def _outward(mesh: TriangleMesh) -> TriangleMesh:
    return mesh if mesh.volume_mm3() >= 0 else TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])


def _is_flat(mesh: TriangleMesh, area_mm2: float) -> bool:
    return bool(mesh.volume_mm3() < _FLAT * area_mm2**1.5)


def _largest(mesh: TriangleMesh) -> TriangleMesh:
    """Return the outer shell; what the union closed off inside is no skin."""
    labels = components(mesh)
    areas = np.bincount(labels, weights=mesh.face_areas_mm2())
    return mesh if len(areas) == 1 else mesh.faces_only(labels == int(np.argmax(areas)))[0]


def _near(mesh: TriangleMesh, other: TriangleMesh) -> Floats:
    low, high = other.bounds_mm()
    within = ((mesh.vertices > low) & (mesh.vertices < high)).all(axis=1)
    near: Floats = mesh.vertices[within]
    return near


def _inside(mesh: TriangleMesh, points_mm: Floats) -> Bools:
    inside: Bools = np.zeros(len(points_mm), dtype=np.bool_)
    low, high = mesh.bounds_mm()
    asked = np.flatnonzero(((points_mm > low) & (points_mm < high)).all(axis=1))
    if len(asked):
        inside[asked] = winding_number(mesh, points_mm[asked]) > _INSIDE
    return inside
