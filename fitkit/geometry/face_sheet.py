"""One face of a drawing on a mesh, laid in its own plane, with the segments drawn in it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from fitkit.geometry.face_split import split_face

if TYPE_CHECKING:
    from fitkit.geometry.surface_arrangement import SurfaceArrangement

__all__ = [
    "FaceSheet",
    "Pair",
    "Point2",
    "Point3",
    "along_segment",
    "crossing_of",
    "nearness",
    "sorted_pair",
]

Pair = tuple[int, int]
Point2 = tuple[float, float]
Point3 = tuple[float, float, float]

# Two ways to work out a crossing must agree so well, or the segments lie in one line.
_ONE_CROSSING_MM = 1e-4


class FaceSheet:
    """One face laid in its own plane, with the segments drawn in it.

    Points are numbered as in the drawing the face belongs to.
    """

    def __init__(self, drawing: SurfaceArrangement, face: int, drawn: set[Pair]) -> None:
        self.drawing = drawing
        self.face = face
        self.corners = a, b, c = drawing.corners(face)
        self.origin = drawing.vertex(a)
        along = _minus(drawing.vertex(b), self.origin)
        across = _minus(drawing.vertex(c), self.origin)
        length = math.hypot(*along)
        self.x_axis = _scaled(along, 1.0 / length) if length > 0 else (1.0, 0.0, 0.0)
        rest = _minus(across, _scaled(self.x_axis, _dot(across, self.x_axis)))
        height = math.hypot(*rest)
        if height <= 1e-12 * max(length, 1e-3):
            # A face without area has no plane of its own: any that holds it will do.
            x, y, z = self.x_axis
            rest = (-y, x, 0.0) if abs(z) < 0.9 else (0.0, -z, y)
            height = math.hypot(*rest)
        self.y_axis = _scaled(rest, 1.0 / height)
        (ax, ay, az), (bx, by, bz) = self.x_axis, self.y_axis
        self.z_axis = (ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx)
        self.places: dict[int, Point2] = {}
        self.drawn = drawn
        self.splits: dict[Pair, int] = {}

    def locate(self, position: Sequence[float]) -> Point3:
        """Return the coordinates of a place along, across and off the face, mm."""
        shift = _minus(position, self.origin)
        return _dot(shift, self.x_axis), _dot(shift, self.y_axis), _dot(shift, self.z_axis)

    def lift(self, x: float, y: float) -> Point3:
        """Return the place in space of coordinates along and across the face, mm."""
        (ox, oy, oz), (ax, ay, az), (bx, by, bz) = self.origin, self.x_axis, self.y_axis
        return ox + x * ax + y * bx, oy + x * ay + y * by, oz + x * az + y * bz

    def set_place(self, point: int, place: Point2) -> None:
        """Note the coordinates of a point put into the face."""
        self.places[point] = place

    def plane_mm(self, point: int) -> Point2:
        """Return the coordinates of a point along and across the face, mm."""
        place = self.places.get(point)
        if place is None:
            x, y, _ = self.locate(self.drawing.position(point))
            place = self.places[point] = (x, y)
        return place

    def side(self, side: int) -> tuple[Point2, Point2]:
        """Return the ends of edge 0, 1 or 2."""
        return self.plane_mm(self.corners[side]), self.plane_mm(self.corners[(side + 1) % 3])

    def contains(self, x: float, y: float) -> bool:
        """Whether a place is inside the face or on its rim."""
        return all(_turn(*self.side(side), (x, y)) >= 0 for side in range(3))

    def sides_of(self, point: int) -> set[int]:
        """Edges of the face on which a point lies."""
        if point in self.corners:
            corner = self.corners.index(point)
            return {corner, (corner + 2) % 3}
        carrier = self.drawing.edge_carrier(point)
        if carrier is None:
            return set()
        a, b, _ = carrier
        for side in range(3):
            if {a, b} == {self.corners[side], self.corners[(side + 1) % 3]}:
                return {side}
        return set()

    def segments(self) -> list[Pair]:
        """Pieces that run inside the face, each once."""
        return sorted({leaf for pair in self.drawn for leaf in self.inside_leaves(*pair)})

    def inside_leaves(self, start: int, end: int) -> Iterator[Pair]:
        """Pieces of a segment that run inside the face, as sorted pairs."""
        split = self.splits.get(sorted_pair(start, end))
        if split is not None:
            yield from self.inside_leaves(start, split)
            yield from self.inside_leaves(split, end)
        elif not self.sides_of(start) & self.sides_of(end):
            yield sorted_pair(start, end)

    def walk(self, start: int, end: int) -> Iterator[int]:
        """Points along a segment after its start, its end included."""
        split = self.splits.get(sorted_pair(start, end))
        if split is not None:
            yield from self.walk(start, split)
            yield from self.walk(split, end)
            return
        for side in self.sides_of(start) & self.sides_of(end):
            a, b = self.corners[side], self.corners[(side + 1) % 3]
            along = [a, *self.drawing.points_on_edge(a, b), b]
            first, last = along.index(start), along.index(end)
            yield from along[first + 1 : last + 1] if first < last else along[last:first][::-1]
            return
        yield end

    def barycentric(self, point: int) -> Point2:
        """Second and third barycentric coordinate, exact for a point on an edge."""
        if point in self.corners:
            return ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))[self.corners.index(point)]
        carrier = self.drawing.edge_carrier(point)
        if carrier is not None:
            side = self.sides_of(point).pop()
            fraction = carrier[2] if carrier[0] == self.corners[side] else 1.0 - carrier[2]
            return ((fraction, 0.0), (1.0 - fraction, fraction), (0.0, 1.0 - fraction))[side]
        x, y = self.plane_mm(point)
        (bx, _), (cx, cy) = self.plane_mm(self.corners[1]), self.plane_mm(self.corners[2])
        third = y / cy
        return (x - third * cx) / bx, third

    def triangles(self, inner_points: list[int]) -> list[tuple[int, int, int]]:
        """Return the face triangulated round all that is drawn in it."""
        corners = self.corners
        points = self.drawing.points_of_face(self.face)
        number = {point: place for place, point in enumerate(points)}
        sides = [
            [number[p] for p in self.drawing.points_on_edge(corners[k], corners[(k + 1) % 3])]
            for k in range(3)
        ]
        segments = self.segments()
        triangles, detours = split_face(
            [self.barycentric(point) for point in points],
            [self.plane_mm(point) for point in points],
            sides,
            [number[point] for point in inner_points],
            [(number[a], number[b]) for a, b in segments],
        )
        for (a, b), through in detours.items():
            self.splits[sorted_pair(points[a], points[b])] = points[through]
        return [(points[a], points[b], points[c]) for a, b, c in triangles]


def sorted_pair(a: int, b: int) -> Pair:
    """Return two points, the lower number first."""
    return (a, b) if a < b else (b, a)


def _turn(a: Point2, b: Point2, c: Point2) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _minus(a: Sequence[float], b: Sequence[float]) -> Point3:
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def _scaled(a: Point3, factor: float) -> Point3:
    return a[0] * factor, a[1] * factor, a[2] * factor


def _dot(a: Point3, b: Point3) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def along_segment(a: Sequence[float], b: Sequence[float], fraction: float) -> Point3:
    """Return the point a fraction of the way from a to b."""
    rest = 1.0 - fraction
    return (
        rest * a[0] + fraction * b[0],
        rest * a[1] + fraction * b[1],
        rest * a[2] + fraction * b[2],
    )


def nearness(point: Sequence[float], a: Sequence[float], b: Sequence[float]) -> tuple[float, float]:
    """Distance of a point from a segment and the fraction along it of the nearest place."""
    way = [end - start for start, end in zip(a, b, strict=True)]
    square = sum(w * w for w in way)
    dot = sum((p - start) * w for p, start, w in zip(point, a, way, strict=True))
    fraction = min(max(dot / square, 0.0), 1.0) if square > 0 else 0.0
    nearest = [start + fraction * w for start, w in zip(a, way, strict=True)]
    return math.dist(point, nearest), fraction


def crossing_of(a: Point2, b: Point2, c: Point2, d: Point2) -> Point2 | None:
    """Where two segments cross inside both."""
    side_c, side_d = _turn(a, b, c), _turn(a, b, d)
    if (side_c > 0) == (side_d > 0):
        return None
    side_a, side_b = _turn(c, d, a), _turn(c, d, b)
    if (side_a > 0) == (side_b > 0) or side_a == side_b:
        return None
    first = _between(a, b, side_a / (side_a - side_b))
    second = _between(c, d, side_c / (side_c - side_d))
    # On segments in one line the signs are rounding; then the two answers differ.
    return first if math.dist(first, second) < _ONE_CROSSING_MM else None


def _between(a: Point2, b: Point2, fraction: float) -> Point2:
    return a[0] + fraction * (b[0] - a[0]), a[1] + fraction * (b[1] - a[1])
