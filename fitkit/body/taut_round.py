"""A taut tape round a body part: it bridges hollows, so it is the hull of a section."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_path import SurfacePath

__all__ = ["TautRound", "plane_axes", "taut_round", "taut_rounds"]

_SMALLEST_AREA_MM2 = 400.0  # a wrist has about 1700, a finger 200


@dataclass(frozen=True, slots=True, eq=False)
class TautRound:
    """One closed section of a body part and the tape pulled taut round it.

    Attributes
    ----------
    path
        The section on the surface, counter-clockwise seen from the normal's tip.
    tape_mm
        (N, 3) float mm: the tape, from contact to contact, a closed convex polygon.
    centre_mm
        (3,) float mm: centre of the section's area.
    area_mm2
        The section's area.
    """

    path: SurfacePath
    tape_mm: Floats
    centre_mm: Floats
    area_mm2: float

    @property
    def girth_mm(self) -> float:
        """Length of the tape."""
        ring = np.vstack([self.tape_mm, self.tape_mm[:1]])
        return float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())

    def moved(self, shift_mm: Floats) -> TautRound:
        """Return the round on the mesh shifted by ``shift_mm`` (3,)."""
        path = SurfacePath(self.path.points_mm + shift_mm, self.path.faces, self.path.closed)
        return TautRound(path, self.tape_mm + shift_mm, self.centre_mm + shift_mm, self.area_mm2)

    @property
    def low_mm(self) -> Floats:
        """(3,) float mm: least x, y and z."""
        low: Floats = self.tape_mm.min(axis=0)
        return low

    @property
    def high_mm(self) -> Floats:
        """(3,) float mm: greatest x, y and z."""
        high: Floats = self.tape_mm.max(axis=0)
        return high


def plane_axes(normal: Floats) -> Floats:
    """Return (2, 3): two unit directions square to the normal, right-handed with it."""
    unit = normal / np.linalg.norm(normal)
    helper = np.eye(3)[int(np.argmin(np.abs(unit)))]
    first = np.cross(helper, unit)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(unit, first)])


def taut_rounds(mesh: TriangleMesh, point_mm: Floats, normal: Floats) -> tuple[TautRound, ...]:
    """Return the outer rounds in which a plane cuts a closed mesh, largest area first.

    Holes and crumbs below 4 cm2 are left out.
    """
    axes = plane_axes(np.asarray(normal, dtype=np.float64))
    rounds = []
    for path in plane_sections(mesh, point_mm, normal):
        if not path.closed:
            continue
        flat = (path.points_mm - point_mm) @ axes.T
        x, y = flat.T
        cross = x * np.roll(y, -1) - np.roll(x, -1) * y
        area = 0.5 * float(cross.sum())
        if area < _SMALLEST_AREA_MM2:
            continue
        centre = ((flat + np.roll(flat, -1, axis=0)) * cross[:, np.newaxis]).sum(axis=0)
        tape = path.points_mm[ConvexHull(flat).vertices]
        rounds.append(TautRound(path, tape, point_mm + centre / (6.0 * area) @ axes, area))
    return tuple(sorted(rounds, key=lambda one: one.area_mm2, reverse=True))


def taut_round(mesh: TriangleMesh, point_mm: Floats, normal: Floats) -> TautRound | None:
    """Return the round that goes about a point of the plane, else the one nearest to it.

    None where the plane misses the mesh.
    """
    rounds = taut_rounds(mesh, point_mm, normal)
    if not rounds:
        return None
    axes = plane_axes(np.asarray(normal, dtype=np.float64))

    def distance(one: TautRound) -> float:
        flat = (one.path.points_mm - point_mm) @ axes.T
        if _winds_about_origin(flat):
            return 0.0
        return float(np.linalg.norm(flat, axis=1).min())

    # Of rounds about the point, the smallest is the part meant.
    return min(rounds, key=lambda one: (distance(one), one.area_mm2))


def _winds_about_origin(flat: Floats) -> bool:
    (x, y), (u, v) = flat.T, np.roll(flat, -1, axis=0).T
    turns = np.arctan2(x * v - y * u, x * u + y * v).sum() / (2 * np.pi)
    return bool(round(float(turns)) != 0)
