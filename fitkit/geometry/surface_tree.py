"""A surface's triangles in a tree of boxes: what is near a place, what a straight way meets.

The look-ups give up at a distance, and the boxes follow the surface when it moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.compiled import compiled
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.remembered import remembered

__all__ = ["Boxes", "SurfaceTree", "crosses", "nearest_in", "surface_tree"]

Boxes = tuple[Floats, Floats, Ints, Ints, Ints, Floats]
"""Boxes' low and high corners (M, 3), right child or -1 (M,), first and last triangle (M,), and
corners of the triangles in order (F, 9). A left child stands next after its parent."""

_LEAF = 4
_DEEP = 64
_SAME_SQUARE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceTree:
    """A surface ready to be searched.

    Attributes
    ----------
    order
        (F,) int: number of each triangle as it stands in the boxes.
    faces
        (F, 3) int: their corners, in that order.
    boxes
        As the compiled look-ups want them.
    """

    order: Ints
    faces: Ints
    boxes: Boxes

    def moved(self, vertices_mm: Floats) -> SurfaceTree:
        """Return the tree of the same triangles with their corners elsewhere, (V, 3) float mm."""
        right, first, last = self.boxes[2:5]
        corners = _corners_of(vertices_mm, self.faces)
        low, high = _boxed(corners, right, first, last)
        return replace(self, boxes=(low, high, right, first, last, corners))

    def distance_mm(self, points_mm: Floats, most_mm: float = np.inf) -> Floats:
        """(N,) float mm: from each point to the surface; infinite beyond the most."""
        return _distances(self.boxes, np.ascontiguousarray(points_mm), most_mm)


@remembered
def surface_tree(mesh: TriangleMesh) -> SurfaceTree:
    """Return the tree of a mesh's triangles, the same one for the same mesh."""
    order = _ordered(mesh.corners.mean(axis=1))
    right, first, last = _nodes(len(order))
    faces = mesh.faces[order]
    # A copy, for loops are compiled anew for arrays that must not be written to.
    corners = _corners_of(mesh.vertices.copy(), faces)
    low, high = _boxed(corners, right, first, last)
    return SurfaceTree(order, faces, (low, high, right, first, last, corners))


@compiled
def _corners_of(vertices: Floats, faces: Ints) -> Floats:
    corners = np.empty((len(faces), 9))
    for face in range(len(faces)):
        for k in range(3):
            for axis in range(3):
                corners[face, 3 * k + axis] = vertices[faces[face, k], axis]
    return corners


def _ordered(middles: Floats) -> Ints:
    """Return the triangles' numbers, halved along their widest spread until few lie together."""
    order, bounds = np.arange(len(middles)), np.array([0, len(middles)])
    while (many := np.diff(bounds) > _LEAF).any():
        start, own = bounds[:-1], middles[order]
        spread = np.maximum.reduceat(own, start) - np.minimum.reduceat(own, start)
        group = np.repeat(np.arange(len(start)), np.diff(bounds))
        along = own[np.arange(len(own)), spread.argmax(axis=1)[group]]
        order = order[np.lexsort([along, group])]
        halves = (start + bounds[1:]) // 2
        bounds = np.sort(np.concatenate([bounds, halves[many]]))
    return order


@compiled
def _nodes(count: int) -> tuple[Ints, Ints, Ints]:
    """Return right child, first and last triangle of each box of so many triangles, halved."""
    most = 2 * count + 1
    right, first, last = (
        np.empty(most, np.int64),
        np.empty(most, np.int64),
        np.empty(most, np.int64),
    )
    waiting = np.empty((_DEEP, 3), np.int64)
    waiting[0, 0], waiting[0, 1], waiting[0, 2] = 0, count, -1
    depth, made = 1, 0
    while depth > 0:
        depth -= 1
        start, end, parent = waiting[depth, 0], waiting[depth, 1], waiting[depth, 2]
        if parent >= 0:
            right[parent] = made
        right[made], first[made], last[made] = -1, start, end
        if end - start > _LEAF:
            half = (start + end) // 2
            waiting[depth, 0], waiting[depth, 1], waiting[depth, 2] = half, end, made
            depth += 1
            waiting[depth, 0], waiting[depth, 1], waiting[depth, 2] = start, half, -1
            depth += 1
        made += 1
    return right[:made], first[:made], last[:made]


@compiled
def _boxed(corners: Floats, right: Ints, first: Ints, last: Ints) -> tuple[Floats, Floats]:
    """Return the low and high corners of all boxes; children stand after their parents."""
    low, high = np.empty((len(right), 3)), np.empty((len(right), 3))
    for node in range(len(right) - 1, -1, -1):
        if right[node] < 0:
            for axis in range(3):
                low[node, axis], high[node, axis] = np.inf, -np.inf
            for face in range(first[node], last[node]):
                for k in range(9):
                    axis = k % 3
                    low[node, axis] = min(low[node, axis], corners[face, k])
                    high[node, axis] = max(high[node, axis], corners[face, k])
        else:
            for axis in range(3):
                low[node, axis] = min(low[node + 1, axis], low[right[node], axis])
                high[node, axis] = max(high[node + 1, axis], high[right[node], axis])
    return low, high


@compiled
def nearest_in(
    boxes: Boxes, x: float, y: float, z: float, most_square: float, guess: int
) -> tuple[float, int, float]:
    """Return the squared distance to the surface, the triangle, and how far before its plane.

    The triangle is numbered as in the boxes; -1, and the most, where nothing is as near as that. A
    guess at it, -1 for none, saves looking at others.
    Of triangles that share the nearest place it is that whose plane is farthest off: its side
    tells inside from outside where the others' may not, whatever their order.
    """
    low, high, right, first, last, corners = boxes
    waiting = np.empty(_DEEP, np.int64)
    bounds = np.empty(_DEEP)
    best, found, facing = most_square, -1, 0.0
    if guess >= 0:
        square, before = _to_triangle(corners[guess], x, y, z)
        if square <= best:
            best, found, facing = square, guess, before
    waiting[0], bounds[0] = 0, 0.0
    depth = 1
    while depth > 0:
        depth -= 1
        node = waiting[depth]
        if bounds[depth] > best + _SAME_SQUARE:
            continue
        if right[node] >= 0:
            near, far = node + 1, right[node]
            to_near = _box_square(low, high, near, x, y, z)
            to_far = _box_square(low, high, far, x, y, z)
            if to_far < to_near:
                near, far, to_near, to_far = far, near, to_far, to_near
            if to_far <= best + _SAME_SQUARE:
                waiting[depth], bounds[depth] = far, to_far
                depth += 1
            if to_near <= best + _SAME_SQUARE:
                waiting[depth], bounds[depth] = near, to_near
                depth += 1
            continue
        for face in range(first[node], last[node]):
            square, before = _to_triangle(corners[face], x, y, z)
            if square < best - _SAME_SQUARE or (
                square <= best + _SAME_SQUARE and (found < 0 or abs(before) > abs(facing))
            ):
                best, found, facing = min(square, best), face, before
    return best, found, facing


@compiled
def _box_square(low: Floats, high: Floats, node: int, x: float, y: float, z: float) -> float:
    off_x = max(low[node, 0] - x, 0.0, x - high[node, 0])
    off_y = max(low[node, 1] - y, 0.0, y - high[node, 1])
    off_z = max(low[node, 2] - z, 0.0, z - high[node, 2])
    return float(off_x * off_x + off_y * off_y + off_z * off_z)


@compiled
def _to_triangle(corners: Floats, x: float, y: float, z: float) -> tuple[float, float]:
    """Return the squared distance of a place from a triangle, and how far before its plane it is.

    References
    ----------
    C. Ericson, Real-Time Collision Detection, 2005, section 5.1.5: which part of it is nearest.
    """
    ax, ay, az = corners[0], corners[1], corners[2]
    ux, uy, uz = corners[3] - ax, corners[4] - ay, corners[5] - az
    vx, vy, vz = corners[6] - ax, corners[7] - ay, corners[8] - az
    px, py, pz = x - ax, y - ay, z - az
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    before = (px * nx + py * ny + pz * nz) / max(size, 1e-300)
    d1, d2 = ux * px + uy * py + uz * pz, vx * px + vy * py + vz * pz
    uu, uv, vv = (
        ux * ux + uy * uy + uz * uz,
        ux * vx + uy * vy + uz * vz,
        vx * vx + vy * vy + vz * vz,
    )
    d3, d4 = d1 - uu, d2 - uv
    d5, d6 = d1 - uv, d2 - vv
    along, across = 0.0, 0.0
    on_a_b, on_a_c, on_b_c = d1 * d4 - d3 * d2, d5 * d2 - d1 * d6, d3 * d6 - d5 * d4
    if d1 <= 0.0 and d2 <= 0.0:
        pass
    elif d3 >= 0.0 and d4 <= d3:
        along = 1.0
    elif d6 >= 0.0 and d5 <= d6:
        across = 1.0
    elif on_a_b <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        along = d1 / max(d1 - d3, 1e-300)
    elif on_a_c <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        across = d2 / max(d2 - d6, 1e-300)
    elif on_b_c <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        across = (d4 - d3) / max((d4 - d3) + (d5 - d6), 1e-300)
        along = 1.0 - across
    elif size > 0.0:
        return before * before, before
    rx, ry, rz = (
        px - along * ux - across * vx,
        py - along * uy - across * vy,
        pz - along * uz - across * vz,
    )
    return rx * rx + ry * ry + rz * rz, before


@compiled
def crosses(boxes: Boxes, ax: float, ay: float, az: float, bx: float, by: float, bz: float) -> bool:
    """Tell whether the straight way from one place to another meets the surface."""
    low, high, right, first, last, corners = boxes
    wx, wy, wz = bx - ax, by - ay, bz - az
    waiting = np.empty(_DEEP, np.int64)
    waiting[0] = 0
    depth = 1
    while depth > 0:
        depth -= 1
        node = waiting[depth]
        enters, leaves = 0.0, 1.0
        for axis in range(3):
            start, way = (ax, wx) if axis == 0 else ((ay, wy) if axis == 1 else (az, wz))
            near, far = low[node, axis] - start - 1e-9, high[node, axis] - start + 1e-9
            if abs(way) < 1e-12:
                if near > 0.0 or far < 0.0:
                    leaves = -1.0
                continue
            near, far = near / way, far / way
            enters, leaves = max(enters, min(near, far)), min(leaves, max(near, far))
        if enters > leaves:
            continue
        if right[node] >= 0:
            waiting[depth], waiting[depth + 1] = right[node], node + 1
            depth += 2
            continue
        for face in range(first[node], last[node]):
            if _meets(corners[face], ax, ay, az, wx, wy, wz):
                return True
    return False


@compiled
def _meets(
    corners: Floats, ax: float, ay: float, az: float, wx: float, wy: float, wz: float
) -> bool:
    """Tell whether a way meets a triangle.

    References
    ----------
    T. Möller, B. Trumbore, Fast, minimum storage ray/triangle intersection, 1997,
    doi:10.1080/10867651.1997.10487468.
    """
    ux, uy, uz = corners[3] - corners[0], corners[4] - corners[1], corners[5] - corners[2]
    vx, vy, vz = corners[6] - corners[0], corners[7] - corners[1], corners[8] - corners[2]
    hx, hy, hz = wy * vz - wz * vy, wz * vx - wx * vz, wx * vy - wy * vx
    size = ux * hx + uy * hy + uz * hz
    if abs(size) < 1e-12:
        return False
    px, py, pz = ax - corners[0], ay - corners[1], az - corners[2]
    along = (px * hx + py * hy + pz * hz) / size
    if along < -1e-9 or along > 1.0 + 1e-9:
        return False
    qx, qy, qz = py * uz - pz * uy, pz * ux - px * uz, px * uy - py * ux
    across = (wx * qx + wy * qy + wz * qz) / size
    if across < -1e-9 or along + across > 1.0 + 1e-9:
        return False
    at = (vx * qx + vy * qy + vz * qz) / size
    return bool(0.0 <= at <= 1.0)


@compiled
def _distances(boxes: Boxes, points: Floats, most: float) -> Floats:
    found = np.full(len(points), np.inf)
    for k in range(len(points)):
        square, face, _ = nearest_in(
            boxes, points[k, 0], points[k, 1], points[k, 2], most * most, -1
        )
        if face >= 0:
            found[k] = np.sqrt(square)
    return found
