"""Lines at a distance from another line over a mesh."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from fitkit.errors import PathError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.path_through_places import path_through_places
from fitkit.geometry.straight_walk import Walks, unit_normals, walk_straight
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surroundings import surroundings

__all__ = ["parallel_path"]

# The walks start this far apart along the line, and nearer where their ends spread more.
_STEP_MM = 2.0
_WIDEST_MM = 3.0
_FINEST_MM = 1e-3
# The line's direction is taken over this length to either side, past single triangles.
_LOOK_MM = 3.0
# A turn sharper than this is a corner, round which ends are spread; its share of the way along.
_SHARP_RAD = 0.2
_CORNER_MM = 4.0
# An end nearer than this share of the distance to another part of the line is given up.
_TOO_NEAR = 0.005
# Ends nearer than this to each other are one.
_LEAST_MM = 0.5


def parallel_path(mesh: TriangleMesh, path: SurfacePath, distance_mm: float) -> SurfacePath:
    """Return the line at a distance over the surface from another.

    From places along the line one walks straight ahead, square to it. Where the line turns
    away the ends are spread round the corner; where it turns inwards those are left out that
    another part of the line is nearer to.

    Parameters
    ----------
    path
        On the mesh.
    distance_mm
        Positive to the left of the line, seen from outside the surface; negative to its right.

    Raises
    ------
    PathError
        When the parallel runs off the surface, with the place, or nothing is left of it.
    """
    reach = abs(distance_mm)
    near, near_faces = surroundings(mesh, _dense(path), reach + 1.0)
    number = np.full(len(mesh.faces), -1)
    number[near_faces] = np.arange(len(near_faces))
    line = _Line(near, path, number[path.faces])
    along = np.linspace(0.0, line.length_mm, max(4, int(line.length_mm / _STEP_MM)) + 1)
    if path.closed:
        along = along[:-1]
    ends = line.walked(along, distance_mm)
    for _ in range(12):
        following = np.roll(along, -1) if path.closed else along[1:]
        here = along if path.closed else along[:-1]
        room = (following - here) % line.length_mm if path.closed else following - here
        spread = np.linalg.norm(_steps(ends.points_mm, closed=path.closed), axis=1)
        wide = (spread > _WIDEST_MM) & (room > _FINEST_MM)
        if not wide.any():
            break
        middles = (here[wide] + 0.5 * room[wide]) % line.length_mm
        ends = _merged(ends, line.walked(middles, distance_mm), along, middles)
        along = np.sort(np.r_[along, middles], kind="stable")
    if not ends.whole.all():
        raise PathError(
            f"A parallel at {reach:g} mm runs off the surface.",
            "Choose a smaller distance, or the other side.",
            ends.points_mm[int(np.argmin(ends.whole))],
        )
    keep = line.own(along, ends.points_mm, reach)
    for _ in range(6):
        # Where ends begin to be given up, the place itself is found: there the line has a corner.
        following = np.roll(along, -1) if path.closed else along[1:]
        here = along[: len(following)]
        room = (following - here) % line.length_mm
        turning = (keep != np.roll(keep, -1))[: len(following)] & (room > 0.02)
        if not turning.any():
            break
        middles = (here[turning] + 0.5 * room[turning]) % line.length_mm
        ends = _merged(ends, line.walked(middles, distance_mm), along, middles)
        along = np.sort(np.r_[along, middles], kind="stable")
        keep = line.own(along, ends.points_mm, reach)
    keep &= line.own(along, ends.points_mm, reach, strict=True) | ~_near_gaps(keep)
    keep = _ahead(line, along, ends.points_mm, keep)
    places, faces = ends.points_mm[keep], ends.faces[keep]
    spaced = _spaced(places, closed=path.closed)
    places, faces = places[spaced], faces[spaced]
    if len(places) < (3 if path.closed else 2):
        raise PathError(
            f"Nothing is left of a parallel at {reach:g} mm.",
            "Choose a smaller distance, or the other side.",
            path.points_mm[0],
        )
    drawn = path_through_places(near, places, faces, closed=path.closed)
    return SurfacePath(drawn.points_mm, near_faces[drawn.faces], closed=path.closed)


def _dense(path: SurfacePath) -> Floats:
    points = np.vstack([path.points_mm, path.points_mm[:1]]) if path.closed else path.points_mm
    lengths = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    at = np.linspace(0.0, lengths[-1], int(lengths[-1]) + 2)
    return np.stack([np.interp(at, lengths, points[:, k]) for k in range(3)], axis=1)


class _Line:
    """A line told by the way along it, on which a corner takes a way of its own.

    Along that way place and direction change without a jump: on a smooth piece the place goes
    ahead, at a corner it rests while the direction turns.
    """

    def __init__(self, mesh: TriangleMesh, path: SurfacePath, faces: Ints) -> None:
        self.mesh, self.closed = mesh, path.closed
        self._draw(path.points_mm, faces)
        corners = self._corners()
        if path.closed and len(corners):
            # A closed line with corners begins at one, so that its pieces end at corners only.
            first = int(np.searchsorted(self._knots, corners[0] - 1e-9))
            self._draw(np.roll(path.points_mm, -first, axis=0), np.roll(faces, -first))
            corners = corners[1:] - corners[0]
            self._rests = len(corners) + 1
        else:
            self._rests = len(corners)
        self._bounds = np.r_[0.0, corners, self._knots[-1]]
        pieces = np.column_stack([self._bounds[:-1], self._bounds[1:]])
        rests = _CORNER_MM * np.arange(len(pieces))[:, None]
        self._along, self._arcs = (pieces + rests).ravel(), pieces.ravel()
        if self._rests == len(pieces):
            self._along = np.r_[self._along, self._along[-1] + _CORNER_MM]
            self._arcs = np.r_[self._arcs, self._arcs[-1]]
        self.length_mm = float(self._along[-1])

    def _draw(self, points: Floats, faces: Ints) -> None:
        self._faces = faces
        self._points = np.vstack([points, points[:1]]) if self.closed else points
        self._ways = np.diff(self._points, axis=0)
        self._lengths = np.linalg.norm(self._ways, axis=1)
        self._knots = np.r_[0.0, np.cumsum(self._lengths)]
        at = np.linspace(0.0, self._knots[-1], int(self._knots[-1]) + 2)
        self._dense = cKDTree(self._at(at)[0])

    def _at(self, arcs: Floats) -> tuple[Floats, Ints]:
        """Points at lengths along the line and the faces of the segments they lie in."""
        arcs = arcs % self._knots[-1] if self.closed else arcs
        segment = np.clip(
            np.searchsorted(self._knots, arcs, side="right") - 1, 0, len(self._ways) - 1
        )
        share = (arcs - self._knots[segment]) / np.maximum(self._lengths[segment], 1e-300)
        places = self._points[segment] + np.clip(share, 0.0, 1.0)[:, None] * self._ways[segment]
        return places, self._faces[segment]

    def _corners(self) -> Floats:
        """Lengths along the line at which it turns sharply within the surface."""
        arcs: Floats = self._knots[:-1] if self.closed else self._knots[1:-1]
        if len(arcs) == 0:
            return arcs
        here, faces = self._at(arcs)
        before, after = here - self._at(arcs - _LOOK_MM)[0], self._at(arcs + _LOOK_MM)[0] - here
        turns = np.abs(_angles(before, after, unit_normals(self.mesh, faces)))
        found: list[float] = []
        for i in np.argsort(-turns, kind="stable"):
            if turns[i] < _SHARP_RAD:
                break
            if all(abs(arcs[i] - other) > 2 * _LOOK_MM for other in found):
                found.append(float(arcs[i]))
        return np.array(sorted(found))

    def places(self, along: Floats) -> tuple[Floats, Ints]:
        """Points along the way and the faces they lie in."""
        return self._at(np.interp(along, self._along, self._arcs))

    def directions(self, along: Floats) -> Floats:
        """(N, 3) float, unit: the way ahead at each place, in its face."""
        arcs = np.interp(along, self._along, self._arcs)
        step = np.searchsorted(self._along, along, side="right") - 1
        step = np.clip(step, 0, len(self._along) - 2)
        normals = unit_normals(self.mesh, self._at(arcs)[1])
        piece, resting = step // 2, step % 2 == 1
        following = (piece + 1) % (len(self._bounds) - 1)
        before = self._chord(arcs, piece, normals)
        after = self._chord(np.where(resting, self._bounds[following], arcs), following, normals)
        share = np.where(resting, (along - self._along[step]) / _CORNER_MM, 0.0)
        turned = share * np.where(resting, _angles(before, after, normals), 0.0)
        cos, sin = np.cos(turned)[:, None], np.sin(turned)[:, None]
        ahead: Floats = cos * before + sin * np.cross(normals, before)
        return ahead

    def _chord(self, arcs: Floats, piece: Ints, normals: Floats) -> Floats:
        """Direction of one smooth piece near lengths along the line, laid into the faces."""
        low, high = arcs - _LOOK_MM, arcs + _LOOK_MM
        if not self.closed or self._rests:
            low = np.maximum(low, self._bounds[piece])
            high = np.minimum(high, self._bounds[piece + 1])
        chord = self._at(high - 1e-9)[0] - self._at(low + 1e-9)[0]
        chord -= np.einsum("ni,ni->n", chord, normals)[:, None] * normals
        unit: Floats = chord / np.maximum(np.linalg.norm(chord, axis=1, keepdims=True), 1e-300)
        return unit

    def walked(self, along: Floats, distance_mm: float) -> Walks:
        """Walk to the left of the line from places along it."""
        places, faces = self.places(along)
        left = np.cross(unit_normals(self.mesh, faces), self.directions(along))
        return walk_straight(self.mesh, places, faces, distance_mm * left)

    def own(
        self, along: Floats, ends: Floats, distance_mm: float, *, strict: bool = False
    ) -> Bools:
        """(N,) bool: ends of walks that no other part of the line is nearer to.

        On a curved surface nearness through the air says it only roughly, so that some of it is
        let pass if not told otherwise.
        """
        let_pass = 0.01 if strict else max(_TOO_NEAR * distance_mm, 0.1)
        nearest, _ = self._dense.query(ends)
        own = np.linalg.norm(ends - self.places(along)[0], axis=1)
        kept: Bools = np.asarray(nearest) > own - let_pass
        return kept


def _angles(first: Floats, second: Floats, normals: Floats) -> Floats:
    """(N,) float rad: turns from one direction to another about normals, left positive."""
    across = np.einsum("ni,ni->n", np.cross(first, second), normals)
    flat = np.einsum("ni,ni->n", first, second) - np.einsum("ni,ni->n", first, normals) * np.einsum(
        "ni,ni->n", second, normals
    )
    angles: Floats = np.arctan2(across, flat)
    return angles


def _steps(points: Floats, *, closed: bool) -> Floats:
    return np.roll(points, -1, axis=0) - points if closed else np.diff(points, axis=0)


def _merged(first: Walks, second: Walks, along: Floats, more_along: Floats) -> Walks:
    order = np.argsort(np.r_[along, more_along], kind="stable")
    return Walks(
        np.vstack([first.points_mm, second.points_mm])[order],
        np.r_[first.faces, second.faces][order],
        np.r_[first.whole, second.whole][order],
    )


def _near_gaps(keep: Bools) -> Bools:
    """(N,) bool: ends within a few of one that was given up."""
    near = ~keep
    for _ in range(8):
        near = near | np.roll(near, 1) | np.roll(near, -1)
    return near


def _ahead(line: _Line, along: Floats, ends: Floats, keep: Bools) -> Bools:
    """(N,) bool: of the kept ends those that go ahead as the line does."""
    keep, closed = keep.copy(), line.closed
    ahead = line.directions(along)
    for _ in range(20):
        kept = np.flatnonzero(keep)
        if len(kept) < 3:
            break
        steps = _steps(ends[kept], closed=closed)
        back = np.einsum("ni,ni->n", steps, ahead[kept[: len(steps)]]) < 0
        if not back.any():
            break
        keep[kept[: len(steps)][back]] = False
    return keep


def _spaced(places: Floats, *, closed: bool) -> Ints:
    """Leave out places that lie very near the one kept before."""
    kept = [0] if len(places) else []
    for i in range(1, len(places)):
        if np.linalg.norm(places[i] - places[kept[-1]]) >= _LEAST_MM:
            kept.append(i)
        elif not closed and i == len(places) - 1:
            kept[-1] = i
    while closed and len(kept) > 3 and np.linalg.norm(places[kept[-1]] - places[0]) < _LEAST_MM:
        kept.pop()
    return np.array(kept, dtype=np.int64)
