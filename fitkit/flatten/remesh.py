"""Well-shaped triangles for a patch whose border was cut through the form's triangles.

Cutting along a line leaves slivers under a degree wide. The patch is laid flat once as it is,
covered with an even pattern of points, joined up anew inside its true outline and lifted back
onto the surface.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import igl
import numpy as np
import shapely
from scipy.spatial import cKDTree

from fitkit.flatten.seam import BorderStretch, OpenedPatch
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.conforming_triangles import ConformingTriangles, conforming_triangles
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.patch import InnerLine

__all__ = [
    "Remeshed",
    "carried_line",
    "edge_for_count",
    "place_on_faces",
    "remesh",
    "smallest_angle_rad",
]

CHORD_TOLERANCE_MM = 0.05
"""How far the thinned border may leave the line it was cut along."""


@dataclass(frozen=True, slots=True, eq=False)
class Remeshed:
    """An opened patch over new triangles.

    Attributes
    ----------
    opened
        The new disk; inner lines are left out, since they run through its triangles.
    start_mm
        (V, 2) float mm: where the new vertices lie on the first flat map; no face flipped.
    """

    opened: OpenedPatch
    start_mm: Floats


def smallest_angle_rad(mesh: TriangleMesh) -> float:
    """Return the smallest angle of any triangle."""
    return float(igl.internal_angles(mesh.vertices, mesh.faces).min())


def edge_for_count(area_mm2: float, triangles: int) -> float:
    """Return the edge length at which that many equilateral triangles cover an area."""
    return float(np.sqrt(area_mm2 / triangles * 4.0 / np.sqrt(3.0)))


def remesh(opened: OpenedPatch, flat_mm: Floats, edge_mm: float) -> Remeshed | None:
    """Return the patch over triangles of about one size, its border kept, or None if it cannot be.

    Parameters
    ----------
    flat_mm
        (V, 2) float mm: a flat map of it without flipped triangles, not lying over itself.
    edge_mm
        Edge length aimed at.

    Notes
    -----
    Border vertices are only left out where the line stays within 0.05 mm, and corners, meeting
    lines and the ends of inner lines always stay; points are added on long edges. The two sides of
    a seam, and edges shared with another patch, are thinned alike.
    """
    stretches = _thinned(opened, edge_mm)
    border, on_border = _border_points(opened, stretches, flat_mm, edge_mm)
    found = conforming_triangles(
        np.concatenate([border, _even_points(border, edge_mm)]), np.arange(len(border)), ()
    )
    if found is None:
        return None
    points, faces, on_border = _border_first(found, on_border)
    old_faces, weights = place_on_faces(points, flat_mm, opened.mesh.faces)
    lifted = np.einsum("nk,nkd->nd", weights, opened.mesh.vertices[opened.mesh.faces[old_faces]])
    kept = on_border >= 0
    kept_at = np.flatnonzero(kept)
    lifted[kept_at] = opened.mesh.vertices[on_border[kept]]
    mesh = TriangleMesh(lifted, faces)
    if not (mesh.face_areas_mm2() > 1e-9 * edge_mm**2).all():
        return None
    new_of_old = dict(zip(on_border[kept].tolist(), kept_at.tolist(), strict=True))
    count = len(on_border)
    new_stretches = tuple(_moved_stretch(s, new_of_old, count, lifted) for s in opened.border)
    return Remeshed(OpenedPatch(mesh, new_stretches, ()), points)


def place_on_faces(points_mm: Floats, flat_mm: Floats, faces: Ints) -> tuple[Ints, Floats]:
    """Return for each point of the plane the nearest flat face (N,) and its weights (N, 3)."""
    lifted = np.ascontiguousarray(np.column_stack([points_mm, np.zeros(len(points_mm))]))
    plane = np.ascontiguousarray(np.column_stack([flat_mm, np.zeros(len(flat_mm))]))
    corners = np.ascontiguousarray(faces)
    _, found, nearest = igl.point_mesh_squared_distance(lifted, plane, corners)
    found = np.asarray(found, dtype=np.int64).reshape(-1)
    a, b, c = (np.ascontiguousarray(plane[faces[found, k]]) for k in range(3))
    weights: Floats = igl.barycentric_coordinates(np.ascontiguousarray(nearest), a, b, c)
    return found, weights


def _must_stay(opened: OpenedPatch) -> set[int]:
    stay = {int(line.vertices[end]) for line in opened.inner_lines for end in (0, -1)}
    for stretch in opened.border:
        stay |= {int(stretch.vertices[at]) for at, _ in stretch.neighbours}
        stay |= {int(stretch.vertices[0]), int(stretch.vertices[-1])}
    return stay


def _thinned(opened: OpenedPatch, edge_mm: float) -> list[Ints]:
    """Return the vertices kept of each stretch of the border, both ends included."""
    stay = _must_stay(opened)
    result = []
    for stretch in opened.border:
        points = opened.mesh.vertices[stretch.vertices]
        fixed = [i for i, v in enumerate(stretch.vertices.tolist()) if v in stay]
        kept = [0]
        for begin, end in pairwise(fixed):
            span = points[begin : end + 1]
            back = _walked_back(span)
            span = span[::-1] if back else span
            places = _thin(span, edge_mm)
            kept += (
                [end - p for p in reversed(places[:-1])]
                if back
                else [begin + p for p in places[1:]]
            )
        result.append(stretch.vertices[kept])
    return result


def _walked_back(points: Floats) -> bool:
    """Return whether a line is walked from its end: whoever shares it must thin it alike.

    Told by the line's own shape, so that it stays so however the patch lies in space.
    """
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    uneven = steps - steps[::-1]
    first = int(np.argmax(np.abs(uneven) > 1e-6 * steps.max()))
    if abs(uneven[first]) > 1e-6 * steps.max():
        return bool(uneven[first] > 0)
    return tuple(points[-1]) < tuple(points[0])


def _thin(points: Floats, edge_mm: float) -> list[int]:
    """Return positions kept of a polyline: even steps of the edge length where its shape allows."""
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    kept = [0]
    last = len(points) - 1
    while kept[-1] < last:
        here = kept[-1]
        left = float(arc[last] - arc[here])
        step = left / max(1, np.ceil(left / edge_mm - 0.25))
        reach = here + max(1, int(np.argmin(np.abs(arc[here + 1 :] - arc[here] - step))) + 1)
        while reach > here + 1 and _bow_mm(points[here : reach + 1]) > CHORD_TOLERANCE_MM:
            reach -= 1
        kept.append(reach)
    return kept


def _bow_mm(points: Floats) -> float:
    """Return how far a polyline leaves the chord between its ends."""
    chord = points[-1] - points[0]
    between = points[1:-1] - points[0]
    square = float(chord @ chord)
    along = np.clip(between @ chord / square, 0.0, 1.0) if square else np.zeros(len(between))
    return float(np.linalg.norm(between - along[:, None] * chord, axis=1).max(initial=0.0))


def _border_points(
    opened: OpenedPatch, stretches: Sequence[Ints], flat_mm: Floats, edge_mm: float
) -> tuple[Floats, Ints]:
    """Return the outline (B, 2) and per point its vertex, -1 where one was put between two."""
    points: list[Floats] = []
    vertices: list[int] = []
    for chain in stretches:
        for a, b in zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True):
            formed = float(np.linalg.norm(opened.mesh.vertices[b] - opened.mesh.vertices[a]))
            parts = max(1, round(formed / edge_mm))
            for k in range(parts):
                points.append(flat_mm[a] + (flat_mm[b] - flat_mm[a]) * (k / parts))
                vertices.append(a if k == 0 else -1)
    return np.array(points), np.array(vertices)


def _even_points(border: Floats, edge_mm: float) -> Floats:
    """Return points on an equilateral grid inside the outline, clear of its edges."""
    # About the outline's middle and alike left and right, up and down, so that a mirrored or
    # turned patch gets the mirrored or turned pattern.
    low, high = border.min(axis=0), border.max(axis=0)
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    row_mm = edge_mm * np.sqrt(3.0) / 2.0
    rows = int(half[1] / row_mm)
    columns = int(half[0] / edge_mm) + 1
    grid = [
        middle + np.column_stack([x, np.full(len(x), j * row_mm)])
        for j in range(-rows, rows + 1)
        for x in [edge_mm * (np.arange(-columns, columns + 1 - j % 2) + 0.5 * (j % 2))]
    ]
    points: Floats = np.concatenate(grid)
    outline = shapely.polygons(border)
    shapely.prepare(outline)
    points = points[shapely.contains_xy(outline, points[:, 0], points[:, 1])]
    after = np.roll(border, -1, axis=0)
    samples = np.concatenate([border + (after - border) * t for t in (0.0, 0.25, 0.5, 0.75)])
    if len(points) == 0:
        return points
    clear, _ = cKDTree(samples).query(points)
    kept: Floats = points[clear > 0.6 * edge_mm]
    return kept


def _border_first(found: ConformingTriangles, on_border: Ints) -> tuple[Floats, Ints, Ints]:
    """Return points, faces and border vertices, the border being the points 0, 1, ... round."""
    count = len(found.points_mm)
    order = np.concatenate([found.ring, np.setdiff1d(np.arange(count), found.ring)])
    number = np.empty(count, dtype=np.int64)
    number[order] = np.arange(count)
    source = found.source[found.ring]
    vertices = np.where(source >= 0, on_border[np.maximum(source, 0)], -1)
    return found.points_mm[order], number[found.faces], vertices


def _moved_stretch(
    stretch: BorderStretch, new_of_old: dict[int, int], count: int, vertices: Floats
) -> BorderStretch:
    """Return a stretch over the new border, whose vertices are 0, 1, ... round."""
    first, last = (new_of_old[int(stretch.vertices[end])] for end in (0, -1))
    steps = (last - first) % count or count
    chain = (first + np.arange(steps + 1)) % count
    rough = np.linalg.norm(np.diff(vertices[chain], axis=0), axis=1)
    rough = np.concatenate([[0.0], np.cumsum(rough)])
    place = {int(v): i for i, v in enumerate(chain[:-1])}
    known: list[tuple[int, float]] = [(0, float(stretch.arc_mm[0]))]
    at_old: dict[int, int] = {0: 0, len(stretch.vertices) - 1: steps}
    for old in range(1, len(stretch.vertices) - 1):
        new = new_of_old.get(int(stretch.vertices[old]))
        if new is not None:
            at_old[old] = place[new]
            known.append((place[new], float(stretch.arc_mm[old])))
    known.append((steps, float(stretch.arc_mm[-1])))
    arc = np.interp(rough, rough[[k for k, _ in known]], [value for _, value in known])
    meets = tuple((at_old[at], line) for at, line in stretch.neighbours)
    return BorderStretch(stretch.line, chain, arc, meets)


def carried_line(
    line: InnerLine, first_flat_mm: Floats, start_mm: Floats, faces: Ints, flat_mm: Floats
) -> Floats:
    """Return an inner line (N, 2) on the final flat, through the triangles it crosses.

    ``first_flat_mm`` holds the line's own vertices on the first flat map; ``start_mm`` and
    ``flat_mm`` are the new vertices on the first and on the final one.
    """
    found, weights = place_on_faces(first_flat_mm[line.vertices], start_mm, faces)
    carried: Floats = np.einsum("nk,nkd->nd", weights, flat_mm[faces[found]])
    return carried
