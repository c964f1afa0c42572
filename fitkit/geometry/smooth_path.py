"""Smooth lines over a mesh through given points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.interpolate import CubicSpline

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.geodesic import shortest_legs
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.path_through_places import path_through_places
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.surroundings import surroundings

__all__ = ["smooth_path"]

# The bending is found on samples this far apart: nearer ones would feel the single triangles.
_STEP_MM = 20.0
_MOST_SAMPLES = 200
# Then the curve is followed in pieces this long, which leave a radius of 50 mm by 0.06 mm.
_FINE_STEP_MM = 5.0
_ROUNDS = 60
_STILL_MM = 0.01


def smooth_path(
    mesh: TriangleMesh, points: Sequence[SurfacePoint], *, closed: bool = False
) -> SurfacePath:
    """Return the line through points of a mesh that bends least while staying on it.

    The surface counterpart of a natural cubic spline: among the curves on the surface through
    the points, taken in order at a pace set by their shortest distances, it has the smallest
    integral of the squared second derivative. It starts from the shortest lines and
    is moved within the surface until it rests, so that it never jumps across a hollow.

    Parameters
    ----------
    points
        At least two, three for a closed line; those that follow each other are different.
    closed
        Whether the line returns to the first point, smooth there too.

    Raises
    ------
    MeshError
        When the points lie on separate pieces of the surface.

    References
    ----------
    Hofer & Pottmann 2004, "Energy-minimizing splines in manifolds", ACM Transactions on
    Graphics 23(3); Pottmann & Hofer 2005, "A variational approach to spline curves on
    surfaces", Computer Aided Geometric Design 22, 693-709. The integral as a quadratic form:
    Green & Silverman 1994, "Nonparametric regression and generalized linear models",
    section 2.1 (from memory; a test compares with SciPy's natural spline).
    """
    legs = shortest_legs(mesh, points, closed=closed)
    if len(legs) == 1:
        return legs[0]
    samples, spacing, fixed = _sampled(legs, points, closed=closed)
    margin = max(40.0, 0.5 * max(leg.length_mm() for leg in legs))
    near, near_faces = surroundings(mesh, samples, margin)
    samples = _relaxed(near, samples, spacing, fixed, closed=closed)
    samples, faces = _followed(near, samples, spacing, closed=closed)
    path = path_through_places(near, samples, faces, closed=closed)
    return SurfacePath(path.points_mm, near_faces[path.faces], closed)


def _sampled(
    legs: Sequence[SurfacePath], points: Sequence[SurfacePoint], *, closed: bool
) -> tuple[Floats, Floats, Ints]:
    """Places along the legs, the distance from each to the next, and which are the points."""
    step = max(_STEP_MM, sum(leg.length_mm() for leg in legs) / _MOST_SAMPLES)
    places: list[Floats] = []
    spacing: list[Floats] = []
    fixed: list[int] = []
    for point, leg in zip(points, legs, strict=False):
        arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(leg.points_mm, axis=0), axis=1))]
        pieces = max(3, round(arc[-1] / step))
        at = np.linspace(0.0, arc[-1], pieces + 1)[:-1]
        fixed.append(sum(len(part) for part in places))
        places.append(np.stack([np.interp(at, arc, leg.points_mm[:, k]) for k in range(3)], axis=1))
        places[-1][0] = point.point_mm
        spacing.append(np.full(pieces, arc[-1] / pieces))
    if not closed:
        fixed.append(sum(len(part) for part in places))
        places.append(points[-1].point_mm[None])
    return np.vstack(places), np.concatenate(spacing), np.array(fixed)


def _relaxed(
    mesh: TriangleMesh, samples: Floats, spacing: Floats, fixed: Ints, *, closed: bool
) -> Floats:
    """Move the samples within the surface, the fixed ones excepted, until they bend least."""
    stiffness = _stiffness(len(samples), spacing, closed=closed)
    free = np.setdiff1d(np.arange(len(samples)), fixed)
    normals_at_vertices = mesh.vertex_normals()

    def energy(places: Floats) -> float:
        return float(np.einsum("ik,ik->", places, stiffness @ places))

    places = samples.copy()
    _, faces, _ = nearest_on_mesh(mesh, places[free])
    now = energy(places)
    for _ in range(_ROUNDS):
        tangents = _tangents(mesh, normals_at_vertices, places[free], faces)
        pull = -np.einsum("nki,ni->nk", tangents, (stiffness @ places)[free]).ravel()
        inner = stiffness[np.ix_(free, free)]
        system = np.einsum("aki,ab,bli->akbl", tangents, inner, tangents)
        moves = np.linalg.solve(system.reshape(2 * len(free), -1), pull).reshape(-1, 2)
        shift = np.einsum("nki,nk->ni", tangents, moves)
        share = min(1.0, 0.5 * _STEP_MM / max(float(np.linalg.norm(shift, axis=1).max()), 1e-12))
        for _ in range(8):
            trial = places.copy()
            trial[free], trial_faces, _ = nearest_on_mesh(mesh, places[free] + share * shift)
            reached = energy(trial)
            if reached < now:
                break
            share *= 0.5
        else:
            break
        moved = float(np.linalg.norm(trial - places, axis=1).max())
        places, faces, now = trial, trial_faces, reached
        if moved < _STILL_MM:
            break
    return places


def _stiffness(count: int, spacing: Floats, *, closed: bool) -> Floats:
    """(N, N) float: the integral of the squared second derivative of a cubic spline.

    The spline runs through N samples and is natural at open ends.
    """
    middle = np.arange(count) if closed else np.arange(1, count - 1)
    rows = np.arange(len(middle))
    before, after = spacing[middle - 1], spacing[middle % len(spacing)]
    bend = np.zeros((len(middle), count))
    np.add.at(bend, (rows, (middle - 1) % count), 1.0 / before)
    np.add.at(bend, (rows, middle), -1.0 / before - 1.0 / after)
    np.add.at(bend, (rows, (middle + 1) % count), 1.0 / after)
    weight = np.diag((before + after) / 3.0)
    following = rows if closed else rows[:-1]
    np.add.at(weight, (following, (following + 1) % len(rows)), after[following] / 6.0)
    np.add.at(weight, ((following + 1) % len(rows), following), after[following] / 6.0)
    stiffness: Floats = bend.T @ np.linalg.solve(weight, bend)
    return stiffness


def _followed(
    mesh: TriangleMesh, samples: Floats, spacing: Floats, *, closed: bool
) -> tuple[Floats, Ints]:
    """Places along the spline through the samples, these among them, dropped to the mesh."""
    knots = np.r_[0.0, np.cumsum(spacing)]
    through = np.vstack([samples, samples[:1]]) if closed else samples
    spline = CubicSpline(knots, through, bc_type="periodic" if closed else "natural")
    pieces = np.maximum(1, np.round(spacing / _FINE_STEP_MM).astype(int))
    at = [
        start + step * np.arange(count) / count
        for start, step, count in zip(knots[:-1], spacing, pieces, strict=True)
    ]
    if not closed:
        at.append(knots[-1:])
    places = spline(np.concatenate(at))
    kept = np.r_[0, np.cumsum(pieces)][: len(samples)]
    places[kept] = samples
    on, faces, _ = nearest_on_mesh(mesh, places)
    on[kept] = samples
    return on, faces


def _tangents(mesh: TriangleMesh, normals: Floats, places: Floats, faces: Ints) -> Floats:
    """(N, 2, 3) float: two unit directions square to the smoothed normal at each place."""
    corners = mesh.corners[faces]
    ways = np.roll(corners, -1, axis=1) - corners
    scaled = np.cross(ways[:, 0], ways[:, 1])
    share = np.einsum("nci,ni->nc", np.cross(ways, places[:, None] - corners), scaled)
    # The part of the area across from a corner is that of the edge which starts one on.
    share = np.clip(np.roll(share, -1, axis=1), 0.0, None) + 1e-300
    share /= share.sum(axis=1, keepdims=True)
    normal = np.einsum("nc,nci->ni", share, normals[mesh.faces[faces]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    helper = np.eye(3)[np.abs(normal).argmin(axis=1)]
    first = np.cross(normal, helper)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    tangents: Floats = np.stack([first, np.cross(normal, first)], axis=1)
    return tangents
