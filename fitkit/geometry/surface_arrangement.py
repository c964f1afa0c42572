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
from fitkit.geometry.arrays import Ints
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
        self._unsettled: set[int] = set()
        edges = np.sort(mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        keys = edges[:, 0] * self._count + edges[:, 1]
        self._edge_order = np.argsort(keys, kind="stable")
        self._edge_keys = keys[self._edge_order]

    # -- points -----------------------------------------------------------------------------

    # Plain numbers: the work goes point by point, where array calls would cost most.

    def vertex(self, vertex: int) -> list[float]:
        """Three coordinates of a vertex of the mesh, mm."""
        coordinates: list[float] = self.mesh.vertices[vertex].tolist()
        return coordinates

    def corners(self, face: int) -> list[int]:
        """Three vertices of a face of the mesh."""
        corners: list[int] = self.mesh.faces[face].tolist()
        return corners

    def position(self, point: int) -> Sequence[float]:
        """Three coordinates in mm."""
        if point < self._count:
            return self.vertex(point)
        return self._new_points[point - self._count]

    def faces_at_edge(self, edge: Pair) -> list[int]:
        """Faces that share the edge."""
        key = edge[0] * self._count + edge[1]
        first, last = np.searchsorted(self._edge_keys, [key, key + 1])
        return [int(place) // 3 for place in self._edge_order[first:last]]

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
        self._unsettled.update(self.faces_at_edge((a, b)))
        return point

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
            sheet = self._sheets[face] = FaceSheet(self, face)
        return sheet

    # -- segments ---------------------------------------------------------------------------

    def draw(self, face: int, start: int, end: int) -> None:
        """Draw a segment between two points of a face."""
        if start != end:
            self._sheet(face).drawn.add(sorted_pair(start, end))
            self._unsettled.add(face)

    def settle(self) -> None:
        """Give all segments their common points."""
        while self._unsettled:
            faces, self._unsettled = sorted(self._unsettled), set()
            for face in faces:
                self._settle_face(face)

    def _settle_face(self, face: int) -> None:
        sheet = self._sheet(face)
        if not sheet.drawn:
            return
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
        return [start, *self._sheet(face).walk(start, end)]

    # -- result -----------------------------------------------------------------------------

    def build(self) -> tuple[TriangleMesh, Ints]:
        """Return the mesh with everything drawn as vertices and edges, and each face's source."""
        self.settle()
        touched = set(self._in_face)
        touched.update(face for face, sheet in self._sheets.items() if sheet.drawn)
        for edge, places in self._on_edge.items():
            if places:
                touched.update(self.faces_at_edge(edge))
        triangles: list[tuple[int, int, int]] = []
        sources: list[int] = []
        for face in sorted(touched):
            split = self._sheet(face).triangles(self._in_face.get(face, []))
            triangles += split
            sources += [face] * len(split)
        keep = np.ones(len(self.mesh.faces), dtype=bool)
        keep[list(touched)] = False
        faces = np.vstack(
            [self.mesh.faces[keep], np.array(triangles, dtype=np.int64).reshape(-1, 3)]
        )
        source = np.concatenate([np.flatnonzero(keep), np.array(sources, dtype=np.int64)])
        order = np.argsort(source, kind="stable")
        vertices = np.vstack([self.mesh.vertices, np.array(self._new_points).reshape(-1, 3)])
        return TriangleMesh(vertices, faces[order]), source[order]
