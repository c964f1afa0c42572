"""Points and segments drawn on a mesh, brought to meet each other cleanly, then made part of it.

Every drawn point is carried by a vertex, an edge or the inside of a face of the mesh, and
stays on its carrier, so that both neighbours of an edge see the same points on it. Points on
one carrier closer than the snapping distance become one; where two segments cross, or a
segment passes by a point closer than half that distance, they get a point in common.
"""

from __future__ import annotations

import math
from bisect import insort
from collections.abc import Sequence
from contextlib import suppress

import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.face_sheet import (
    FaceSheet,
    Pair,
    Point3,
    along_segment,
    crossing_of,
    nearness,
    sorted_pair,
)
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.remembered import remembered
from fitkit.geometry.single_crossings import may_be_split_at_once, split_at_once

__all__ = ["SNAP_MM", "SurfaceArrangement"]

SNAP_MM = 1e-3
"""Drawn points closer than this become one: far below what a pen draws, far above rounding."""

_OFF_SURFACE_MM = 0.05
# A point farther than this from the face it is said to lie in is a mistake, not rounding.


class SurfaceArrangement:
    """A drawing on a mesh under construction.

    Points are numbered on from the vertices of the mesh.
    """

    def __init__(self, mesh: TriangleMesh, *, snap_mm: float = SNAP_MM) -> None:
        self.mesh = mesh
        self.snap_mm = snap_mm
        self._count = len(mesh.vertices)
        self._new_points: list[Point3] = []
        # A new point is carried by an edge (its lower vertex, higher vertex, fraction) or a face.
        self._edge_of: dict[int, tuple[int, int, float]] = {}
        self._on_edge: dict[Pair, list[tuple[float, int]]] = {}
        self._in_face: dict[int, list[int]] = {}
        self._sheets: dict[int, FaceSheet] = {}
        self._drawn: dict[int, set[Pair]] = {}
        # Faces that one segment crosses from edge to edge: its ends and the corner between.
        self._crossed_once: dict[int, tuple[int, int, int]] = {}
        self._unsettled: set[int] = set()
        self._unsettled_edges: list[Pair] = []
        self._edge_order, self._edge_keys = _edges_in_order(mesh)
        self._corners: dict[int, tuple[int, int, int]] = {}
        self._vertices: dict[int, list[float]] = {}

    # -- points -----------------------------------------------------------------------------

    # Plain numbers: the work goes point by point, where array calls would cost most.

    def vertex(self, vertex: int) -> list[float]:
        """Three coordinates of a vertex of the mesh, mm."""
        coordinates = self._vertices.get(vertex)
        if coordinates is None:
            coordinates = self._vertices[vertex] = self.mesh.vertices[vertex].tolist()
        return coordinates

    def corners(self, face: int) -> tuple[int, int, int]:
        """Three vertices of a face of the mesh."""
        corners = self._corners.get(face)
        if corners is None:
            a, b, c = self.mesh.faces[face].tolist()
            corners = self._corners[face] = (a, b, c)
        return corners

    def make_ready(self, faces: Ints) -> None:
        """Look up what will be asked of some faces, which goes faster for all at once."""
        rows = self.mesh.faces[faces]
        self._corners.update(zip(faces.tolist(), map(tuple, rows.tolist()), strict=True))
        used = np.unique(rows)
        self._vertices.update(zip(used.tolist(), self.mesh.vertices[used].tolist(), strict=True))

    def position(self, point: int) -> Sequence[float]:
        """Three coordinates in mm."""
        if point < self._count:
            return self.vertex(point)
        return self._new_points[point - self._count]

    def _faces_at_edges(self, edges: Sequence[Pair]) -> list[int]:
        """Faces that share any of some edges."""
        if not edges:
            return []
        ends = np.array(edges)
        keys = ends[:, 0] * self._count + ends[:, 1]
        first = np.searchsorted(self._edge_keys, keys, side="left")
        count = np.searchsorted(self._edge_keys, keys, side="right") - first
        at = np.repeat(first - np.r_[0, np.cumsum(count)[:-1]], count) + np.arange(count.sum())
        faces: list[int] = (self._edge_order[at] // 3).tolist()
        return faces

    def edge_carrier(self, point: int) -> tuple[int, int, float] | None:
        """Edge that carries a new point, lower vertex first, and the fraction along it."""
        return self._edge_of.get(point)

    def points_on_edge(self, a: int, b: int) -> list[int]:
        """Points on an edge in order from vertex a to vertex b, these left out."""
        points = [point for _, point in self._on_edge.get(sorted_pair(a, b), ())]
        return points if a < b else points[::-1]

    def put_in_face(self, face: int, position: Sequence[float]) -> int:
        """Return the point at that place in a face, made new where there is none yet.

        Raises
        ------
        MeshError
            When the place is not in the face.
        """
        sheet = self._sheet(face)
        x, y, height = sheet.locate(position)
        near = [nearness((x, y), *sheet.side(side)) for side in range(3)]
        side = min(range(3), key=lambda k: near[k][0])
        distance, fraction = near[side]
        outside = 0.0 if sheet.contains(x, y) else distance
        if max(abs(height), outside) > _OFF_SURFACE_MM:
            raise MeshError(
                f"A point of a line lies {max(abs(height), outside):.3g} mm off triangle {face}.",
                "Draw the line again on this very mesh.",
            )
        if outside > 0 or distance < self.snap_mm:
            a, b = sheet.corners[side], sheet.corners[(side + 1) % 3]
            return self.put_on_edge(a, b, fraction)
        for point in self.points_of_face(face):
            px, py = sheet.plane_mm(point)
            if math.hypot(px - x, py - y) < self.snap_mm:
                return point
        point = self._add_point(sheet.lift(x, y))
        sheet.set_place(point, (x, y))
        self._in_face.setdefault(face, []).append(point)
        self._unsettled.add(face)
        return point

    def put_on_edge(self, a: int, b: int, fraction: float) -> int:
        """Return the point at a fraction of the way from vertex a to vertex b."""
        if a > b:
            a, b, fraction = b, a, 1.0 - fraction
        start, end = self.vertex(a), self.vertex(b)
        length = math.dist(start, end)
        fraction = min(max(fraction, 0.0), 1.0)
        if min(fraction, 1.0 - fraction) * length < self.snap_mm:
            return a if fraction < 0.5 else b
        places = self._on_edge.setdefault((a, b), [])
        for other, point in places:
            if abs(other - fraction) * length < self.snap_mm:
                return point
        point = self._add_point(along_segment(start, end, fraction))
        insort(places, (fraction, point))
        self._edge_of[point] = (a, b, fraction)
        self._unsettled_edges.append((a, b))
        return point

    def put_along(self, before: Ints, after: Ints, positions: Floats) -> list[int]:
        """Return the points where a line passes from face to face, as :meth:`put_between_faces`.

        Parameters
        ----------
        before, after
            (N,) int: the face that the line leaves at each place and the one it enters.
        positions
            (N, 3) float mm.
        """
        from_corners, to_corners = self.mesh.faces[before], self.mesh.faces[after]
        shared = (from_corners[:, :, None] == to_corners[:, None, :]).any(axis=2)
        over_edge = (shared.sum(axis=1) == 2) & (before != after)
        # With one corner left out, the edge runs between the two after it.
        out = np.argmin(shared, axis=1)
        rows = np.arange(len(before))
        a, b = from_corners[rows, (out + 1) % 3], from_corners[rows, (out + 2) % 3]
        start, way = self.mesh.vertices[a], self.mesh.vertices[b] - self.mesh.vertices[a]
        square = np.maximum(np.einsum("ni,ni->n", way, way), 1e-300)
        share = np.clip(np.einsum("ni,ni->n", positions - start, way) / square, 0.0, 1.0)
        off = np.linalg.norm(positions - start - share[:, None] * way, axis=1)
        over_edge &= off <= _OFF_SURFACE_MM
        table = zip(over_edge.tolist(), a.tolist(), b.tolist(), share.tolist(), strict=True)
        return [
            self.put_on_edge(one, other, fraction)
            if plain
            else self.put_between_faces(int(before[i]), int(after[i]), positions[i].tolist())
            for i, (plain, one, other, fraction) in enumerate(table)
        ]

    def put_between_faces(self, before: int, after: int, position: Sequence[float]) -> int:
        """Return the point where a line passes from one face to another.

        Raises
        ------
        MeshError
            When the faces do not touch there.
        """
        if before == after:
            return self.put_in_face(before, position)
        ahead = self.corners(after)
        shared = [vertex for vertex in self.corners(before) if vertex in ahead]
        if len(shared) == 2:
            a, b = shared
            off, fraction = nearness(position, self.vertex(a), self.vertex(b))
            if off <= _OFF_SURFACE_MM:
                return self.put_on_edge(a, b, fraction)
        elif len(shared) == 1 and math.dist(position, self.vertex(shared[0])) <= _OFF_SURFACE_MM:
            return shared[0]
        raise MeshError(
            f"A line jumps from triangle {before} to triangle {after}, which do not touch there.",
            "Draw the line again on this very mesh.",
        )

    def points_of_face(self, face: int) -> list[int]:
        """Corners, then points on the edges in order, then points inside."""
        corners = self._sheet(face).corners
        points = list(corners)
        for side in range(3):
            points += self.points_on_edge(corners[side], corners[(side + 1) % 3])
        return points + self._in_face.get(face, [])

    def _add_point(self, position: Point3) -> int:
        self._new_points.append(position)
        return self._count + len(self._new_points) - 1

    def _sheet(self, face: int) -> FaceSheet:
        sheet = self._sheets.get(face)
        if sheet is None:
            drawn = self._drawn.setdefault(face, set())
            sheet = self._sheets[face] = FaceSheet(self, face, drawn)
        return sheet

    # -- segments ---------------------------------------------------------------------------

    def draw(self, face: int, start: int, end: int) -> None:
        """Draw a segment between two points of a face."""
        if start != end:
            self._drawn.setdefault(face, set()).add(sorted_pair(start, end))
            self._unsettled.add(face)

    def settle(self) -> None:
        """Give all segments their common points."""
        while self._unsettled or self._unsettled_edges:
            self._unsettled.update(self._faces_at_edges(self._unsettled_edges))
            faces, self._unsettled, self._unsettled_edges = sorted(self._unsettled), set(), []
            for face in self._not_crossed_once(faces):
                self._settle_face(face)

    def _not_crossed_once(self, faces: list[int]) -> list[int]:
        """Note those faces that a single segment crosses, and return the others."""
        seen: list[tuple[int, int, int, int]] = []
        others: list[int] = []
        for face in faces:
            self._crossed_once.pop(face, None)
            crossing = self._single_segment(face)
            if crossing is None:
                others.append(face)
            else:
                seen.append((face, *crossing))
        if seen:
            table = np.array(seen)
            first, second = (
                np.array([self.position(point) for point in column])
                for column in table.T[1:3].tolist()
            )
            corners = self.mesh.vertices[self.mesh.faces[table[:, 0]]]
            fair = may_be_split_at_once(corners, first, second, 0.5 * self.snap_mm)
            self._crossed_once.update((row[0], row[1:]) for row in np.array(seen)[fair].tolist())
            others += table[~fair, 0].tolist()
        return sorted(others)

    def _single_segment(self, face: int) -> tuple[int, int, int] | None:
        """Return the ends of a face's only segment and the corner between their edges, if so."""
        drawn = self._drawn.get(face)
        if drawn is None or len(drawn) != 1 or self._in_face.get(face):
            return None
        a, b, c = self.corners(face)
        sides = [self._on_edge.get(sorted_pair(*ends), []) for ends in ((a, b), (b, c), (c, a))]
        number = [len(places) for places in sides]
        if sorted(number) != [0, 1, 1]:
            return None
        apex = (number.index(0) + 2) % 3
        first, second = sides[apex][0][1], sides[(apex + 2) % 3][0][1]
        return (first, second, apex) if sorted_pair(first, second) in drawn else None

    def _settle_face(self, face: int) -> None:
        if not self._drawn.get(face):
            return
        sheet = self._sheet(face)
        with suppress(RecursionError):
            for _ in range(100_000):
                segments = sheet.segments()
                if not (self._split_at_near_point(face, segments) or self._cross(face, segments)):
                    return
        raise MeshError(
            f"The lines in triangle {face} are too tangled to be separated.",
            "Leave out lines that run on top of each other.",
        )

    def _split_at_near_point(self, face: int, segments: list[Pair]) -> bool:
        sheet = self._sheet(face)
        points = [(point, sheet.plane_mm(point)) for point in self.points_of_face(face)]
        limit = 0.5 * self.snap_mm
        changed = False
        for start, end in segments:
            (ax, ay), (bx, by) = sheet.plane_mm(start), sheet.plane_mm(end)
            wx, wy = bx - ax, by - ay
            square = wx * wx + wy * wy
            best, best_off = -1, limit * math.sqrt(square)
            for point, (x, y) in points:
                off = abs(wx * (y - ay) - wy * (x - ax))
                if off >= best_off or point in (start, end):
                    continue
                # Both pieces must be shorter than the whole, or splitting might never end.
                before = (x - ax) * (x - ax) + (y - ay) * (y - ay)
                after = (x - bx) * (x - bx) + (y - by) * (y - by)
                if before < square and after < square:
                    best, best_off = point, off
            if best >= 0:
                sheet.splits[start, end] = best
                changed = True
        return changed

    def _cross(self, face: int, segments: list[Pair]) -> bool:
        sheet = self._sheet(face)
        places = {point: sheet.plane_mm(point) for segment in segments for point in segment}
        split: set[Pair] = set()
        for i, first in enumerate(segments):
            a, b = places[first[0]], places[first[1]]
            for second in segments[i + 1 :]:
                if first in split:
                    break
                if second in split or second[0] in first or second[1] in first:
                    continue
                crossing = crossing_of(a, b, places[second[0]], places[second[1]])
                if crossing is None:
                    continue
                point = self.put_in_face(face, sheet.lift(*crossing))
                for segment in (first, second):
                    if point not in segment:
                        sheet.splits[segment] = point
                        split.add(segment)
        return bool(split)

    def chain(self, face: int, start: int, end: int) -> list[int]:
        """Points along a drawn segment after settling, both ends included."""
        if face in self._crossed_once:
            return [start, end]
        return [start, *self._sheet(face).walk(start, end)]

    # -- result -----------------------------------------------------------------------------

    def build(self) -> tuple[TriangleMesh, Ints]:
        """Return the mesh with everything drawn as vertices and edges, and each face's source."""
        self.settle()
        touched = set(self._in_face)
        touched.update(face for face, drawn in self._drawn.items() if drawn)
        touched.update(self._faces_at_edges([e for e, places in self._on_edge.items() if places]))
        vertices = np.vstack([self.mesh.vertices, np.array(self._new_points).reshape(-1, 3)])
        triangles: list[tuple[int, int, int]] = []
        sources: list[int] = []
        for face in sorted(touched - self._crossed_once.keys()):
            split = self._sheet(face).triangles(self._in_face.get(face, []))
            triangles += split
            sources += [face] * len(split)
        keep = np.ones(len(self.mesh.faces), dtype=bool)
        keep[list(touched)] = False
        once = np.array(list(self._crossed_once), dtype=np.int64)
        ends = np.array(list(self._crossed_once.values()), dtype=np.int64).reshape(-1, 3)
        split_once = split_at_once(vertices, self.mesh.faces[once], *ends.T)
        faces = np.vstack(
            [
                self.mesh.faces[keep],
                np.array(triangles, dtype=np.int64).reshape(-1, 3),
                split_once.reshape(-1, 3),
            ]
        )
        source = np.concatenate(
            [np.flatnonzero(keep), np.array(sources, dtype=np.int64), np.repeat(once, 3)]
        )
        order = np.argsort(source, kind="stable")
        return TriangleMesh(vertices, faces[order]), source[order]


@remembered
def _edges_in_order(mesh: TriangleMesh) -> tuple[Ints, Ints]:
    """Half-edges sorted by their edge's key, lower vertex times V plus higher, and the keys."""
    edges = np.sort(mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    keys = edges[:, 0] * len(mesh.vertices) + edges[:, 1]
    order: Ints = np.argsort(keys, kind="stable")
    return order, keys[order]
