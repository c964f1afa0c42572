"""What a maker changed on a card piece, kept as moves of the blank's edges.

Each move is told along the edge it belongs to, so that it holds when the patch is laid flat
again, and for the mirrored twin as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["Correction", "EdgeMove", "TracedHole", "edge_frames", "moved_edges"]

# Normals are taken over this length of edge, so that a short step does not tip them.
_FRAME_MM = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class EdgeMove:
    """How one edge of a blank moved.

    Attributes
    ----------
    line
        Its tape line.
    piece
        Which of the edges along that line, counted round the blank from 0.
    moves
        (N, 3) float: share along the edge from 0 to 1, rising; mm outwards; mm along the edge's
        direction. Straight between the rows.
    """

    line: str
    piece: int
    moves: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "moves", frozen_floats(self.moves, (None, 3), "moves"))


@dataclass(frozen=True, slots=True)
class TracedHole:
    """A round hole found in a piece, from the blank's middle: mm to the right and up."""

    x_mm: float
    y_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """All that was changed on a part.

    Attributes
    ----------
    patch
        The patch it belongs to.
    edges
        Edges that moved; the others stay.
    holes, pencil_mm
        Holes and pencil lines, (N, 2) mm each, from the blank's middle, up along +y, seen from
        the plate's outside as the patch is drawn.
    """

    patch: str
    edges: tuple[EdgeMove, ...] = ()
    holes: tuple[TracedHole, ...] = ()
    pencil_mm: tuple[Floats, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(
            self,
            "pencil_mm",
            tuple(frozen_floats(line, (None, 2), "pencil_mm") for line in self.pencil_mm),
        )


def edge_frames(points_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Return along an edge: share (N,), unit direction (N, 2), unit normal to its right (N, 2).

    On an outline walked counter-clockwise the normal points outwards.
    """
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points_mm, axis=0), axis=1))]
    whole = max(float(length[-1]), 1e-12)

    def at(arc: Floats) -> Floats:
        return np.column_stack([np.interp(arc, length, points_mm[:, k]) for k in range(2)])

    ahead = at(np.minimum(length + _FRAME_MM, whole)) - at(np.maximum(length - _FRAME_MM, 0.0))
    ahead = ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-12)
    return length / whole, ahead, np.column_stack([ahead[:, 1], -ahead[:, 0]])


def moved_edges(
    names: Sequence[str], edges_mm: Sequence[Floats], correction: Correction
) -> list[Floats]:
    """Return a blank's edges with a correction applied, still joining end to end.

    Parameters
    ----------
    names
        Tape line of each edge, in order round the blank.
    edges_mm
        Their points, (N, 2) mm each, counter-clockwise.

    Notes
    -----
    Moves of lines that the blank does not have are passed over: the design has changed since.
    """
    moves = {(move.line, move.piece): move.moves for move in correction.edges}
    counts: dict[str, int] = {}
    moved = []
    for name, points in zip(names, edges_mm, strict=True):
        piece = counts.get(name, 0)
        counts[name] = piece + 1
        rows = moves.get((name, piece))
        if rows is None:
            moved.append(points.copy())
            continue
        share, ahead, outward = edge_frames(points)
        out = np.interp(share, rows[:, 0], rows[:, 1])
        along = np.interp(share, rows[:, 0], rows[:, 2])
        moved.append(points + out[:, None] * outward + along[:, None] * ahead)
    return _joined(moved)


def _joined(edges: list[Floats]) -> list[Floats]:
    """Let each edge end where the next begins: half-way between the two moved corners."""
    for i, edge in enumerate(edges):
        following = edges[(i + 1) % len(edges)]
        corner = 0.5 * (edge[-1] + following[0])
        edge[-1] = corner
        following[0] = corner
    return edges
