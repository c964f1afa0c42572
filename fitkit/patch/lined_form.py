"""A form with all its tape lines made into edges, and the regions that they make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.errors import DesignError, MeshError
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import chain_keys, edge_keys, insert_paths
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.patch.tape_line import TapeLine

__all__ = ["LinedForm", "line_the_form"]


@dataclass(frozen=True, slots=True, eq=False)
class LinedForm:
    """A form's surface on which every tape line runs along edges.

    The lines part it into *cells*; a region is the cells that can be reached from one another
    without crossing some of the lines.

    Attributes
    ----------
    mesh
        The surface.
    source_face
        (F,) int: face of the form's own mesh.
    keys
        (F, 3) int: number of the edge from corner k to corner k + 1.
    lines
        Names of the lines.
    chains
        Vertices of each line by name, the first repeated at the end of a closed one.
    chain_keys
        Numbers of the edges along each chain by name.
    line_keys
        (K,) int: numbers of all edges that lines run along, ascending.
    on_edge
        (K, L) bool: which lines run along each of them.
    on_vertex
        (L, V) bool: which vertices lie on each line.
    cells
        (F,) int: the cell of each face.
    edge_cells
        (K, 2) int: cells on the two sides of each edge of a line, -1 beyond the form's rim.
    doors
        (D, 2) int: pairs of cells that meet along lines, and ``door_lines`` (D, L) bool which
        lines; each combination once.
    """

    mesh: TriangleMesh
    source_face: Ints
    keys: Ints
    lines: tuple[str, ...]
    chains: dict[str, Ints]
    chain_keys: dict[str, Ints]
    line_keys: Ints
    on_edge: Bools
    on_vertex: Bools
    cells: Ints
    edge_cells: Ints
    doors: Ints
    door_lines: Bools

    def columns(self, lines: Sequence[str]) -> list[int]:
        """Return the places of some lines among all."""
        return [self.lines.index(line) for line in lines]

    def lines_along(self, keys: Ints) -> Bools:
        """(N, L) bool: which lines run along each of some edges."""
        if len(self.line_keys) == 0:
            return np.zeros((len(keys), len(self.lines)), dtype=np.bool_)
        place = np.minimum(np.searchsorted(self.line_keys, keys), len(self.line_keys) - 1)
        along: Bools = self.on_edge[place] & (self.line_keys[place] == keys)[:, None]
        return along

    def is_closed(self, line: str) -> bool:
        """Whether a line comes back to its start."""
        chain = self.chains[line]
        return bool(chain[0] == chain[-1])

    def face_at(self, point: SurfacePoint) -> int:
        """Return the face in which a point of the form's own mesh lies."""
        first, last = np.searchsorted(self.source_face, [point.face, point.face + 1])
        corners = self.mesh.vertices[self.mesh.faces[first:last]]
        ways = np.roll(corners, -1, axis=1) - corners
        normals = np.cross(ways[:, 0], ways[:, 1])
        turns = np.einsum("nci,ni->nc", np.cross(ways, point.point_mm - corners), normals)
        # Share of the piece's area across from each corner: all positive inside.
        shares = turns / np.maximum(np.einsum("ni,ni->n", normals, normals), 1e-300)[:, None]
        return int(first) + int(shares.min(axis=1).argmax())

    def distance_to(self, line: str, point_mm: Floats) -> float:
        """Distance from a point in space to a line, mm."""
        chain = self.mesh.vertices[self.chains[line]]
        start, way = chain[:-1], np.diff(chain, axis=0)
        square = np.maximum(np.einsum("ni,ni->n", way, way), 1e-300)
        along = np.clip(np.einsum("ni,ni->n", point_mm - start, way) / square, 0.0, 1.0)
        return float(np.linalg.norm(start + along[:, None] * way - point_mm, axis=1).min())

    def region_at(self, faces: Sequence[int], lines: Sequence[str]) -> Bools:
        """(F,) bool: what can be reached from any of some faces without crossing the lines."""
        shut = self.door_lines[:, self.columns(lines)].any(axis=1)
        first, second = self.doors[~shut].T
        count = int(self.cells.max()) + 1
        graph = coo_array((np.ones(len(first)), (first, second)), shape=(count, count))
        groups = connected_components(graph, directed=False)[1]
        wanted = np.isin(groups, groups[self.cells[list(faces)]])
        region: Bools = wanted[self.cells]
        return region


def line_the_form(mesh: TriangleMesh, lines: Sequence[TapeLine]) -> LinedForm:
    """Return a form's mesh with all lines made into edges.

    Raises
    ------
    DesignError
        When two lines share a name, or a line was not laid on this mesh.
    """
    names = tuple(line.name for line in lines)
    for name in names:
        if names.count(name) > 1:
            raise DesignError(
                f"Two tape lines are called '{name}'.", "Give each line a name of its own."
            )
    try:
        cut = insert_paths(mesh, [line.path for line in lines])
    except MeshError as error:
        raise DesignError(
            f"The tape lines cannot be put on this form: {error.cause}", error.remedy
        ) from error
    keys = edge_keys(cut.mesh)
    chains = dict(zip(names, cut.chains, strict=True))
    along = {name: chain_keys(cut.mesh, chain) for name, chain in chains.items()}
    line_keys = np.unique(np.concatenate([*along.values(), np.zeros(0, dtype=np.int64)]))
    on_edge = np.zeros((len(line_keys), len(names)), dtype=np.bool_)
    on_vertex = np.zeros((len(names), len(cut.mesh.vertices)), dtype=np.bool_)
    for column, (name, chain) in enumerate(chains.items()):
        on_edge[np.searchsorted(line_keys, along[name]), column] = True
        on_vertex[column, chain] = True
    cells, edge_cells = _cells(keys, line_keys)
    inner = (edge_cells >= 0).all(axis=1)
    table = np.column_stack([np.sort(edge_cells[inner], axis=1), on_edge[inner]])
    table = np.unique(table, axis=0)
    return LinedForm(
        cut.mesh,
        cut.source_face,
        keys,
        names,
        chains,
        along,
        line_keys,
        on_edge,
        on_vertex,
        cells,
        edge_cells,
        table[:, :2],
        table[:, 2:].astype(np.bool_),
    )


def _cells(keys: Ints, line_keys: Ints) -> tuple[Ints, Ints]:
    """Cells of the faces, and those on both sides of each edge of a line."""
    order = np.argsort(keys, axis=None, kind="stable")
    flat = keys.ravel()[order]
    same = np.flatnonzero(flat[1:] == flat[:-1])
    first, second = order[same] // 3, order[same + 1] // 3
    place = np.searchsorted(line_keys, flat[same])
    shut = np.append(line_keys, -1)[place] == flat[same]
    count = len(keys)
    links = coo_array(
        (np.ones(int((~shut).sum()), dtype=np.int8), (first[~shut], second[~shut])),
        shape=(count, count),
    )
    cells: Ints = connected_components(links, directed=False)[1].astype(np.int64)
    edge_cells = np.full((len(line_keys), 2), -1, dtype=np.int64)
    starts = np.searchsorted(flat, line_keys)
    edge_cells[:, 0] = cells[order[starts] // 3] if len(line_keys) else -1
    edge_cells[place[shut], 1] = cells[second[shut]]
    return cells, edge_cells
