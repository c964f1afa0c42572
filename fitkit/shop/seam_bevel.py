"""At what angle two edges meet along a line, and so how far to bevel each edge of thick sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from fitkit.flatten.edge_names import is_cut_edge, is_seam
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.formed_edges import TOGETHER_MM, formed_edges
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.template.mirror import mirrored_name

__all__ = ["SeamBevel", "seam_bevels"]

# How steep a plate is at its edge is read off its faces as near as this, and twice as near: what
# the plate's own curve adds goes with the distance and drops out.
_NEAR_MM = 12.0
_LEAST_POINTS = 3
_ACROSS = np.array([-1.0, 1.0, 1.0])


@dataclass(frozen=True, slots=True)
class SeamBevel:
    """Two plates, or a plate and itself, meeting along a line.

    Attributes
    ----------
    line, neighbour
        As called on the side the plate was drawn on; a seam's neighbour is the plate itself.
    turn_rad
        By how much the sheet turns from one to the other: above zero where the outside is a
        ridge, below where it is a groove; the middle of all places along the line.
    least_rad, most_rad
        Between these it turns in eight places of ten.
    """

    line: str
    neighbour: str
    turn_rad: float
    least_rad: float
    most_rad: float


def seam_bevels(flat: FlatPatch, flats: Sequence[FlatPatch]) -> tuple[SeamBevel, ...]:
    """Return the bevels of one plate's edges where others meet it, twins included, and its seams.

    Relief cuts close on a smooth form and want none.
    """
    own = _Faces.of_mesh(flat.form)
    found = []
    for edge, points in zip(flat.outline, formed_edges(flat), strict=True):
        if is_seam(edge.line) or is_cut_edge(edge.line):
            continue
        for name, mesh, border in _others(flat, flats):
            found.append((edge.line, name, _turns(own, _Faces.of_mesh(mesh), points, border)))
    sides: dict[str, list[Floats]] = {}
    for edge in flat.outline:
        if is_seam(edge.line):
            sides.setdefault(edge.line, []).append(edge.points_mm)
    for line, laid in sides.items():
        if len(laid) == 2:
            found.append((line, flat.design.name, _seam_turns(flat, *laid)))
    return tuple(
        SeamBevel(line, name, *(float(np.percentile(turns, share)) for share in (50.0, 10.0, 90.0)))
        for line, name, turns in found
        if len(turns) >= _LEAST_POINTS
    )


def _seam_turns(flat: FlatPatch, first: Floats, second: Floats) -> Floats:
    """Return how far the sheet turns at places of a seam, whose sides are told as on the blank."""
    vertices = cKDTree(flat.flat_mm)
    sides = [vertices.query(points)[1] for points in (first, second)]
    # Both sides lie at one place on the form; along the sheet each has faces of its own near it.
    ways = np.stack([_ways_mm(flat, side) for side in sides])[:, flat.faces].mean(axis=2)
    one, other = (
        _Faces.of_mesh(TriangleMesh(flat.form.vertices, flat.faces[nearer]))
        for nearer in (ways[0] < ways[1], ways[1] < ways[0])
    )
    return _turns(one, other, *(flat.form.vertices[side] for side in sides))


def _ways_mm(flat: FlatPatch, side: Ints) -> Floats:
    """Return how far every vertex is from one side of a seam, along edges of the blank."""
    faces = flat.faces
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    lengths = np.linalg.norm(flat.flat_mm[ends[:, 0]] - flat.flat_mm[ends[:, 1]], axis=1)
    count = len(flat.flat_mm)
    graph = coo_array((lengths, ends.T), shape=(count, count)).tocsr()
    ways: Floats = dijkstra(graph, directed=False, indices=side, min_only=True)
    return ways


def _others(
    flat: FlatPatch, flats: Sequence[FlatPatch]
) -> Iterator[tuple[str, TriangleMesh, Floats]]:
    """Yield every other plate as worn: name, mesh and border."""
    for other in flats:
        border = np.concatenate(formed_edges(other))
        name = other.design.name
        if other is not flat:
            yield name, other.form, border
        if other.design.paired:
            mesh = TriangleMesh(other.form.vertices * _ACROSS, other.form.faces[:, ::-1])
            yield mirrored_name(name), mesh, border * _ACROSS


@dataclass(frozen=True, slots=True, eq=False)
class _Faces:
    """Middles and scaled normals of a mesh's faces, with a tree to look them up by place."""

    middles: Floats
    normals: Floats
    tree: cKDTree

    @classmethod
    def of_mesh(cls, mesh: TriangleMesh) -> _Faces:
        middles = mesh.vertices[mesh.faces].mean(axis=1)
        return cls(middles, mesh.face_normals_scaled(), cKDTree(middles))

    def steepness(self, at: Floats, reach_mm: float) -> tuple[Floats, Floats] | None:
        """Return the unit normal near a place, and the faces' mean place; None without faces."""
        near = self.tree.query_ball_point(at, reach_mm)
        if not near:
            return None
        normal = self.normals[near].sum(axis=0)
        weight = np.linalg.norm(self.normals[near], axis=1)
        middle = (self.middles[near] * weight[:, None]).sum(axis=0) / weight.sum()
        return normal / np.linalg.norm(normal), middle


def _turns(own: _Faces, other: _Faces, points: Floats, border: Floats) -> Floats:
    """Return how far the sheet turns at those points of an edge where the other plate begins."""
    off, at = cKDTree(border).query(points)
    turns = []
    # Ends are corners, where a third plate may be nearer.
    for point, opposite, distance in zip(points[1:-1], border[at[1:-1]], off[1:-1], strict=True):
        if distance > TOGETHER_MM:
            continue
        far, near = (
            _turn(own.steepness(point, reach), other.steepness(opposite, reach))
            for reach in (_NEAR_MM, 0.5 * _NEAR_MM)
        )
        if far is not None and near is not None:
            turns.append(2.0 * near - far)
    return np.array(turns)


def _turn(own: tuple[Floats, Floats] | None, other: tuple[Floats, Floats] | None) -> float | None:
    if own is None or other is None:
        return None
    angle = float(np.arccos(np.clip(own[0] @ other[0], -1.0, 1.0)))
    # Over a ridge the neighbour's normal leans away from this plate.
    return angle if (other[0] - own[0]) @ (other[1] - own[1]) >= 0.0 else -angle
