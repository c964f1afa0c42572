"""Triangulating one face round the points and segments drawn in it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence

__all__ = ["split_face"]

Pair = tuple[int, int]
Point = tuple[float, float]

# Twice the area, in units where the whole face is 1, below which three points count as lying on
# one line: above the rounding of the products (1e-16), below the smallest triangle that the
# spacing of points can make in a face a metre long.
_COLLINEAR = 1e-14


def split_face(
    bary: Sequence[Point],
    plane_mm: Sequence[Point],
    edge_points: Sequence[Sequence[int]],
    inner_points: Sequence[int],
    segments: Iterable[Pair],
) -> tuple[list[tuple[int, int, int]], dict[Pair, int]]:
    """Return a constrained Delaunay triangulation of one face.

    Signs are taken in barycentric coordinates, in which even a needle is a well shaped
    triangle; only the choice between two valid diagonals looks at the true shape.

    Parameters
    ----------
    bary
        Barycentric coordinates (second and third) of every point; the first three are the
        corners (0, 0), (1, 0), (0, 1).
    plane_mm
        The same points in a plane of the face, mm.
    edge_points
        For each of the edges 0-1, 1-2, 2-0 the points on it in that order, corners left out.
    inner_points
        Points inside.
    segments
        Pairs of points to be joined by an edge; they meet at their ends only.

    Returns
    -------
    triangles
        Counter-clockwise like the face.
    detours
        For a segment that turned out to run through a point: that point. Empty unless the
        face is degenerate.

    References
    ----------
    Sloan 1993, "A fast algorithm for generating constrained Delaunay triangulations",
    Computers & Structures 47(3), 441-450 (segments by flipping the edges they cross).
    """
    work = _Triangulation(bary, plane_mm)
    for side, points in enumerate(edge_points):
        last, end = side, (side + 1) % 3
        for point in points:
            work.split_border(last, end, point)
            last = point
    for point in inner_points:
        work.insert(point)
    for start, end in segments:
        work.join(start, end)
    work.make_delaunay()
    return work.triangles(), work.detours


class _Triangulation:
    """Triangles as a table from directed edge to the corner on its left."""

    def __init__(self, bary: Sequence[Point], plane_mm: Sequence[Point]) -> None:
        self.bary = bary
        self.plane_mm = plane_mm
        self.left = {(0, 1): 2, (1, 2): 0, (2, 0): 1}
        self.fixed: set[Pair] = set()
        self.detours: dict[Pair, int] = {}

    def triangles(self) -> list[tuple[int, int, int]]:
        return [(a, b, c) for (a, b), c in self.left.items() if a < b and a < c]

    def side(self, a: int, b: int, c: int) -> float:
        """Twice the signed area of a, b, c; positive counter-clockwise."""
        (ax, ay), (bx, by), (cx, cy) = self.bary[a], self.bary[b], self.bary[c]
        return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)

    def add(self, a: int, b: int, c: int) -> None:
        self.left[a, b] = c
        self.left[b, c] = a
        self.left[c, a] = b

    def remove(self, a: int, b: int, c: int) -> None:
        del self.left[a, b], self.left[b, c], self.left[c, a]

    def split_border(self, a: int, b: int, point: int) -> None:
        c = self.left[a, b]
        self.remove(a, b, c)
        self.add(a, point, c)
        self.add(point, b, c)

    def insert(self, point: int) -> None:
        def depth(triangle: tuple[int, int, int]) -> float:
            a, b, c = triangle
            return min(self.side(a, b, point), self.side(b, c, point), self.side(c, a, point))

        a, b, c = max(self.triangles(), key=depth)
        for first, second, third in ((a, b, c), (b, c, a), (c, a, b)):
            beyond = self.left.get((second, first))
            on_line = self.side(first, second, point) < _COLLINEAR
            # In a sliver the point is in line with all three edges, and on one of them.
            if beyond is not None and on_line and self.is_between(first, second, point):
                self.remove(first, second, third)
                self.remove(second, first, beyond)
                self.add(first, point, third)
                self.add(point, second, third)
                self.add(second, point, beyond)
                self.add(point, first, beyond)
                return
        self.remove(a, b, c)
        self.add(a, b, point)
        self.add(b, c, point)
        self.add(c, a, point)

    def join(self, start: int, end: int) -> None:
        """Make the segment an edge."""
        if (start, end) in self.left or (end, start) in self.left:
            self.fixed |= {(start, end), (end, start)}
            return
        crossed = self.edges_crossed(start, end)
        if isinstance(crossed, int):
            self.detours[min(start, end), max(start, end)] = crossed
            self.join(start, crossed)
            self.join(crossed, end)
            return
        queue = deque(crossed)
        while queue:
            a, b = queue.popleft()
            if not self.may_flip(a, b):
                queue.append((a, b))
                continue
            c, d = self.flip(a, b)
            if len({c, d, start, end}) == 4 and (
                (self.side(start, end, c) > 0) != (self.side(start, end, d) > 0)
            ):
                queue.append((c, d))
        self.fixed |= {(start, end), (end, start)}

    def edges_crossed(self, start: int, end: int) -> list[Pair] | int:
        """Edges between start and end in order, or a point that lies on the way."""
        for (a, right), left in list(self.left.items()):
            if a != start:
                continue
            below, above = self.side(start, end, right), self.side(start, end, left)
            if below < -_COLLINEAR and above > _COLLINEAR and self.side(right, left, end) < 0:
                break
            if abs(below) <= _COLLINEAR and self.is_between(start, end, right):
                return right
            if abs(above) <= _COLLINEAR and self.is_between(start, end, left):
                return left
        else:
            raise AssertionError("a segment leaves its face")
        crossed = [(right, left)]
        while True:
            apex = self.left[left, right]
            if apex == end:
                return crossed
            height = self.side(start, end, apex)
            if abs(height) <= _COLLINEAR:
                return apex
            right, left = (right, apex) if height > 0 else (apex, left)
            crossed.append((right, left))

    def is_between(self, start: int, end: int, point: int) -> bool:
        (sx, sy), (ex, ey), (px, py) = self.bary[start], self.bary[end], self.bary[point]
        ahead = (px - sx) * (ex - sx) + (py - sy) * (ey - sy)
        behind = (px - ex) * (sx - ex) + (py - ey) * (sy - ey)
        return ahead > 0 and behind > 0

    def may_flip(self, a: int, b: int) -> bool:
        c, d = self.left[a, b], self.left[b, a]
        return self.side(a, d, c) > _COLLINEAR and self.side(d, b, c) > _COLLINEAR

    def flip(self, a: int, b: int) -> Pair:
        """Replace the edge a-b by the other diagonal of its two triangles."""
        c, d = self.left[a, b], self.left[b, a]
        self.remove(a, b, c)
        self.remove(b, a, d)
        self.add(a, d, c)
        self.add(d, b, c)
        return c, d

    def make_delaunay(self) -> None:
        queue = deque(self.left)
        # Lawson flips end by themselves; the bound only guards against rounding on a circle.
        for _ in range(20 * len(self.left) + 40):
            if not queue:
                return
            a, b = queue.popleft()
            if (a, b) in self.fixed or (a, b) not in self.left or (b, a) not in self.left:
                continue
            if self.angles_too_large(a, b) and self.may_flip(a, b):
                c, d = self.flip(a, b)
                queue.extend([(a, d), (d, b), (b, c), (c, a)])

    def angles_too_large(self, a: int, b: int) -> bool:
        """Whether the two angles opposite the edge exceed a half turn together."""
        total = 0.0
        (ax, ay), (bx, by) = self.plane_mm[a], self.plane_mm[b]
        for apex in (self.left[a, b], self.left[b, a]):
            px, py = self.plane_mm[apex]
            dot = (ax - px) * (bx - px) + (ay - py) * (by - py)
            cross = abs((ax - px) * (by - py) - (ay - py) * (bx - px))
            total += dot / cross if cross > 0 else (1e30 if dot > 0 else -1e30)
        return total < -1e-9
