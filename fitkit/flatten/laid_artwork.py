"""An emblem laid on a plate and carried to its blank.

Every point of it is reached by a straight walk over the plate from the emblem's middle: distances
and directions from there are true on the formed plate, whatever the blank had to stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fitkit.findings import Finding, Severity
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.form_to_flat import on_flat
from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.straight_walk import unit_normals, walk_straight

__all__ = ["LaidArtwork", "lay_artwork"]

# Straight stretches are walked point by point this far apart, so that they follow the plate.
_STEP_MM = 2.0
# Steps between walks are averaged over this deviation, among so many points.
_EVEN_MM = 4.0
_NEAR = 32


@dataclass(frozen=True, slots=True, eq=False)
class LaidArtwork:
    """Lines on the blank, (N, 2) mm each, and what was noticed."""

    lines_mm: tuple[Floats, ...]
    findings: tuple[Finding, ...] = ()


def lay_artwork(
    flat: FlatPatch, name: str, at_mm: Floats, lines_mm: Sequence[Floats], turn_rad: float = 0.0
) -> LaidArtwork:
    """Return an emblem's lines on a blank.

    Parameters
    ----------
    flat
        The blank.
    name
        What the emblem is called, for findings.
    at_mm
        (3,) float mm: where its middle lies on the plate.
    lines_mm
        (N, 2) float mm each, x to the right and y up about its middle, as seen from outside; closed
        ones with their first point repeated.
    turn_rad
        From the wearer's up, counter-clockwise seen from outside.
    """
    start, face, _ = nearest_on_mesh(flat.form, at_mm[None])
    normal = unit_normals(flat.form, face)[0]
    up = np.array([0.0, 0.0, 1.0])
    if abs(normal @ up) > 0.95:
        # On a level plate the wearer's front is its up, as on the template.
        up = np.array([0.0, -1.0, 0.0])
    up = up - (up @ normal) * normal
    up /= np.linalg.norm(up)
    right = np.cross(up, normal)
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    turn = np.array([[c, s], [-s, c]])
    lines = [
        shapely.get_coordinates(shapely.segmentize(shapely.LineString(line), _STEP_MM)) @ turn
        for line in lines_mm
    ]
    every = np.concatenate(lines)
    ways = every[:, :1] * right + every[:, 1:] * up
    count = len(every)
    walks = walk_straight(flat.form, np.repeat(start, count, axis=0), np.repeat(face, count), ways)
    laid = on_flat(flat.form, flat.flat_mm, walks.points_mm, walks.faces)
    laid[walks.whole] = _evened(every[walks.whole], laid[walks.whole])
    ends = np.cumsum([len(line) for line in lines])[:-1]
    kept = [
        piece
        for points, whole in zip(np.split(laid, ends), np.split(walks.whole, ends), strict=True)
        for piece in _whole_runs(points, whole)
    ]
    lost = float(np.mean(~walks.whole))
    if lost == 0.0:
        return LaidArtwork(tuple(kept))
    finding = Finding(
        "artwork-beyond-edge",
        Severity.WARNING,
        flat.design.name,
        f"{100 * lost:.0f} % of '{name}' lies beyond the plate's edge or its seam and is left out.",
        "Make it smaller, or move it.",
        number=round(lost, 3),
    )
    return LaidArtwork(tuple(kept), (finding,))


def _evened(emblem_mm: Floats, laid_mm: Floats) -> Floats:
    """Return laid points without the small steps of walks that part at a vertex of the mesh.

    What laying did beyond a turn, a shift and an even stretch is averaged over points that are near
    to one another on the emblem.
    """
    if len(emblem_mm) < 4:
        return laid_mm
    terms = np.column_stack([emblem_mm, np.ones(len(emblem_mm))])
    even = terms @ np.linalg.lstsq(terms, laid_mm, rcond=None)[0]
    count = min(_NEAR, len(emblem_mm))
    gaps, near = cKDTree(emblem_mm).query(emblem_mm, count)
    weights = np.exp(-0.5 * (gaps / _EVEN_MM) ** 2)
    mean = np.einsum("nk,nkd->nd", weights, (laid_mm - even)[near])
    evened: Floats = even + mean / weights.sum(axis=1, keepdims=True)
    return evened


def _whole_runs(points: Floats, whole: np.ndarray) -> list[Floats]:
    """Return the stretches of a line that lie on the plate, of two points and more."""
    turns = np.flatnonzero(np.diff(whole.astype(int))) + 1
    runs = zip(np.split(points, turns), np.split(whole, turns), strict=True)
    return [run for run, on in runs if on[0] and len(run) > 1]
