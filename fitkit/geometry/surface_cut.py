"""Making lines on a mesh into edges of it, and opening it along them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.errors import MeshError
from fitkit.geometry.arrays import Bools, Floats, Ints, frozen_ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_arrangement import SNAP_MM, SurfaceArrangement
from fitkit.geometry.surface_path import SurfacePath

__all__ = [
    "CutMesh",
    "chain_keys",
    "cut_along",
    "edge_keys",
    "insert_paths",
    "part_where_touching",
    "split_vertices",
]

# A line that steps aside and straight back over less than this did so by snapping.
_SPUR_MM = 10 * SNAP_MM


@dataclass(frozen=True, slots=True, eq=False)
class CutMesh:
    """A mesh with lines on it made into edges.

    Attributes
    ----------
    mesh
        The same surface; its first vertices are those of the mesh it was made from.
    source_face
        (F,) int: the face of the original mesh in which each face lies.
    chains
        Per line (N,) int: its vertices in order, each joined to the next by an edge; a closed
        line repeats its first vertex at the end.
    """

    mesh: TriangleMesh
    source_face: Ints
    chains: tuple[Ints, ...]

    def __post_init__(self) -> None:
        source = frozen_ints(self.source_face, (len(self.mesh.faces),), "source_face")
        object.__setattr__(self, "source_face", source)
        chains = tuple(
            frozen_ints(chain, (None,), "chain", below=len(self.mesh.vertices))
            for chain in self.chains
        )
        object.__setattr__(self, "chains", chains)


def insert_paths(mesh: TriangleMesh, paths: Sequence[SurfacePath]) -> CutMesh:
    """Make every segment of the paths an edge of the mesh, leaving the surface as it is.

    The paths may meet, cross each other and themselves, share ends or stretches, pass through
    vertices, run along edges and cross a triangle several times. Where they meet they share a
    vertex. Points closer than 0.001 mm to a vertex, an edge or each other are snapped together;
    they move within the surface.

    Raises
    ------
    MeshError
        When a path does not lie on the mesh.
    """
    drawing = SurfaceArrangement(mesh)
    drawn = [_draw(drawing, path) for path in paths]
    drawing.settle()
    new_mesh, source_face = drawing.build()
    chains = []
    for path, points in zip(paths, drawn, strict=True):
        chain = [points[0]]
        for face, start, end in zip(path.faces.tolist(), points[:-1], points[1:], strict=True):
            if start != end:
                chain += drawing.chain(face, start, end)[1:]
        chains.append(np.array(_without_spurs(chain, new_mesh.vertices), dtype=np.int64))
    _check_edges(new_mesh, chains)
    return CutMesh(new_mesh, source_face, tuple(chains))


def _draw(drawing: SurfaceArrangement, path: SurfacePath) -> list[int]:
    """Draw a path and return its points, the first repeated at the end of a closed one."""
    faces: list[int] = path.faces.tolist()
    if min(faces) < 0 or max(faces) >= len(drawing.mesh.faces):
        raise MeshError(
            f"A line names triangle {max(faces)}, the mesh has {len(drawing.mesh.faces)}.",
            "Draw the line again on this very mesh.",
        )
    drawing.make_ready(np.unique(path.faces))
    before = np.r_[faces[-1] if path.closed else faces[0], path.faces][: len(path.points_mm)]
    after = np.r_[path.faces, faces[0] if path.closed else faces[-1]][: len(path.points_mm)]
    points = drawing.put_along(before, after, path.points_mm)
    if path.closed:
        points.append(points[0])
    for face, start, end in zip(faces, points[:-1], points[1:], strict=True):
        drawing.draw(face, start, end)
    return points


def _without_spurs(chain: list[int], vertices: Floats) -> list[int]:
    kept: list[int] = []
    for vertex in chain:
        if kept and kept[-1] == vertex:
            continue
        if (
            len(kept) > 1
            and kept[-2] == vertex
            and np.linalg.norm(vertices[kept[-1]] - vertices[vertex]) < _SPUR_MM
        ):
            kept.pop()
            continue
        kept.append(vertex)
    return kept


def edge_keys(mesh: TriangleMesh) -> Ints:
    """(F, 3) int: one number per edge of each face, the same for both faces that share it."""
    ends = np.sort(np.stack([mesh.faces, np.roll(mesh.faces, -1, axis=1)], axis=2), axis=2)
    keys: Ints = ends[..., 0] * len(mesh.vertices) + ends[..., 1]
    return keys


def chain_keys(mesh: TriangleMesh, chain: Ints) -> Ints:
    """(N - 1,) int: the numbers of :func:`edge_keys` along a chain of vertices."""
    ends = np.sort(np.column_stack([chain[:-1], chain[1:]]), axis=1)
    keys: Ints = ends[:, 0] * len(mesh.vertices) + ends[:, 1]
    return keys


def _check_edges(mesh: TriangleMesh, chains: Sequence[Ints]) -> None:
    if not chains:
        return
    present = np.sort(edge_keys(mesh), axis=None)
    starts = np.concatenate([chain[:-1] for chain in chains])
    keys = np.concatenate([chain_keys(mesh, chain) for chain in chains])
    found = present[np.minimum(np.searchsorted(present, keys), len(present) - 1)]
    if (found != keys).any():
        place = mesh.vertices[starts[int(np.argmax(found != keys))]]
        raise MeshError(
            f"A line could not be made part of the mesh near {np.round(place, 1)} mm.",
            "Repair the surface there: it folds over itself or has triangles without area.",
        )


def cut_along(mesh: TriangleMesh, chain: Ints) -> tuple[TriangleMesh, Ints]:
    """Open a mesh along a chain of edges.

    Both sides of the cut get vertices of their own; an end of the chain inside the mesh stays
    single. A chain that does not come back to the border or to itself leaves a slit.

    Parameters
    ----------
    mesh
        Any mesh whose edges have at most two faces.
    chain
        (N,) int: vertices, each joined to the next by an edge.

    Returns
    -------
    mesh
        The same faces over more vertices; the old ones keep their numbers, each with one of
        the sides, and the others follow.
    source
        (V,) int: the old vertex of each.

    Raises
    ------
    MeshError
        When two vertices that follow each other are not joined by an edge.
    """
    chain = np.asarray(chain, dtype=np.int64)
    keys = edge_keys(mesh)
    cut = chain_keys(mesh, chain)
    if not np.isin(cut, keys).all():
        raise MeshError(
            "The chain to cut along leaves the edges of the mesh.",
            "Insert the line into the mesh first.",
        )
    return split_vertices(mesh, np.isin(keys, cut))


def split_vertices(mesh: TriangleMesh, cut: Bools) -> tuple[TriangleMesh, Ints]:
    """Give the faces round each vertex a vertex of their own per fan that cut edges leave.

    Parameters
    ----------
    mesh
        Any mesh.
    cut
        (F, 3) bool: edges (corner k to corner k + 1) across which faces are parted.

    Returns
    -------
    mesh, source
        As for :func:`cut_along`.
    """
    count = len(mesh.faces)
    keys = edge_keys(mesh).ravel()
    keep = np.flatnonzero(~cut.ravel())
    keep = keep[np.argsort(keys[keep], kind="stable")]
    same = keys[keep[:-1]] == keys[keep[1:]]
    first, second = keep[:-1][same], keep[1:][same]
    # Directed edge e = 3 * face + k runs from corner e to the next corner of its face.
    ends = np.column_stack([np.arange(3 * count), np.arange(3 * count) // 3 * 3])
    ends[:, 1] += (np.arange(3 * count) + 1) % 3
    vertex = mesh.faces.ravel()
    links = []
    for mine in range(2):
        for other in range(2):
            a, b = ends[first, mine], ends[second, other]
            alike = vertex[a] == vertex[b]
            links.append(np.column_stack([a[alike], b[alike]]))
    rows = np.vstack(links)
    graph = coo_array((np.ones(len(rows)), (rows[:, 0], rows[:, 1])), shape=(3 * count, 3 * count))
    fans = connected_components(graph, directed=False)[1]
    _, representative, fan_of_corner = np.unique(fans, return_index=True, return_inverse=True)
    fan_vertex = vertex[representative]
    order = np.lexsort((representative, fan_vertex))
    number = np.empty(len(order), dtype=np.int64)
    is_first = np.r_[True, fan_vertex[order][1:] != fan_vertex[order][:-1]]
    number[order[is_first]] = fan_vertex[order[is_first]]
    extra = order[~is_first]
    number[extra] = len(mesh.vertices) + np.arange(len(extra))
    source = np.concatenate([np.arange(len(mesh.vertices)), fan_vertex[extra]])
    faces = number[fan_of_corner].reshape(-1, 3)
    return TriangleMesh(mesh.vertices[source], faces), source


def part_where_touching(mesh: TriangleMesh) -> TriangleMesh:
    """Return a piece of a surface parted where it touches itself in a single vertex.

    There its border leaves the vertex more than once; any other piece is returned as it is.
    """
    keys = edge_keys(mesh).ravel()
    order = np.argsort(keys, kind="stable")
    again = np.r_[False, keys[order][1:] == keys[order][:-1]]
    border = order[~again & ~np.r_[again[1:], False]]
    starts = np.sort(mesh.faces.ravel()[border])
    if not (starts[1:] == starts[:-1]).any():
        return mesh
    return split_vertices(mesh, np.zeros(mesh.faces.shape, dtype=np.bool_))[0]
