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

    Attributes
    ----------
    mesh
        The surface.
    source_face
        (F,) int: face of the form's own mesh.
    keys
        (F, 3) int: number of the edge from corner k to corner k + 1.
    neighbours
        (A, 2) int: pairs of faces that share an edge, and ``neighbour_keys`` (A,) its number.
    chains
        Vertices of each line by name, the first repeated at the end of a closed one.
    line_keys
        Numbers of the edges of each line by name, ascending.
    """

    mesh: TriangleMesh
    source_face: Ints
    keys: Ints
    neighbours: Ints
    neighbour_keys: Ints
    chains: dict[str, Ints]
    line_keys: dict[str, Ints]

    def keys_of(self, lines: Sequence[str]) -> Ints:
        """Numbers of the edges of several lines, ascending."""
        keys: Ints = np.unique(np.concatenate([self.line_keys[line] for line in lines]))
        return keys

    def is_closed(self, line: str) -> bool:
        """Whether a line comes back to its start."""
        chain = self.chains[line]
        return bool(chain[0] == chain[-1])

    def face_at(self, point: SurfacePoint) -> int:
        """Return the face in which a point of the form's own mesh lies."""
        pieces = np.flatnonzero(self.source_face == point.face)
        corners = self.mesh.corners[pieces]
        ways = np.roll(corners, -1, axis=1) - corners
        normals = np.cross(ways[:, 0], ways[:, 1])
        turns = np.einsum("nci,ni->nc", np.cross(ways, point.point_mm - corners), normals)
        # Share of the piece's area across from each corner: all positive inside.
        shares = turns / np.maximum(np.einsum("ni,ni->n", normals, normals), 1e-300)[:, None]
        return int(pieces[int(shares.min(axis=1).argmax())])

    def distance_to(self, line: str, point_mm: Floats) -> float:
        """Distance from a point in space to a line, mm."""
        chain = self.mesh.vertices[self.chains[line]]
        start, way = chain[:-1], np.diff(chain, axis=0)
        square = np.maximum(np.einsum("ni,ni->n", way, way), 1e-300)
        along = np.clip(np.einsum("ni,ni->n", point_mm - start, way) / square, 0.0, 1.0)
        return float(np.linalg.norm(start + along[:, None] * way - point_mm, axis=1).min())

    def region_at(self, face: int, lines: Sequence[str]) -> Bools:
        """(F,) bool: the faces that can be reached from one without crossing the lines."""
        open_edges = ~np.isin(self.neighbour_keys, self.keys_of(lines))
        first, second = self.neighbours[open_edges].T
        count = len(self.mesh.faces)
        graph = coo_array((np.ones(len(first)), (first, second)), shape=(count, count))
        labels = connected_components(graph, directed=False)[1]
        region: Bools = labels == labels[face]
        return region


def line_the_form(mesh: TriangleMesh, lines: Sequence[TapeLine]) -> LinedForm:
    """Return a form's mesh with all lines made into edges.

    Raises
    ------
    DesignError
        When two lines share a name, or a line was not laid on this mesh.
    """
    names = [line.name for line in lines]
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
    order = np.argsort(keys, axis=None, kind="stable")
    flat = keys.ravel()[order]
    same = np.flatnonzero(flat[1:] == flat[:-1])
    neighbours = np.column_stack([order[same] // 3, order[same + 1] // 3])
    return LinedForm(
        cut.mesh,
        cut.source_face,
        keys,
        neighbours,
        flat[same],
        dict(zip(names, cut.chains, strict=True)),
        {
            name: np.unique(chain_keys(cut.mesh, chain))
            for name, chain in zip(names, cut.chains, strict=True)
        },
    )
