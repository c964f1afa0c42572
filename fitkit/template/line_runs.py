"""A blank's edges joined to runs: all of a tape line that goes on without a corner.

Whatever is told of a run is read off the form, which the parts that meet along it share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.flatten.edge_names import is_cut_edge, is_seam
from fitkit.flatten.flat_patch import FlatEdge
from fitkit.geometry.arrays import Floats

__all__ = ["LineRun", "RunPiece", "is_joint", "line_runs"]


def is_joint(line: str) -> bool:
    """Whether an edge is one side of a joint within the part."""
    return is_seam(line) or is_cut_edge(line)


@dataclass(frozen=True, slots=True, eq=False)
class RunPiece:
    """A flat edge with its points on the form."""

    edge: FlatEdge
    formed_mm: Floats
    outward_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class LineRun:
    """All of a tape line along which the part's border runs on without a corner."""

    pieces: tuple[RunPiece, ...]
    crossings: tuple[tuple[float, str, bool], ...]
    """Arc length, the lines that meet there, whether a tick is due (not at corners)."""
    start_mm: float
    end_mm: float
    round: bool

    @property
    def line(self) -> str:
        """The tape line."""
        return self.pieces[0].edge.line

    def spans(self) -> list[tuple[float, float]]:
        """Return the stretches between neighbouring crossings and corners, as arc lengths.

        A round that fewer than two lines meet has none.
        """
        inner = [arc for arc, _, _ in self.crossings]
        if not self.round:
            stops = sorted({self.start_mm, self.end_mm, *inner})
            return [(a, b) for a, b in pairwise(stops) if b - a > 1e-6]
        if len(inner) < 2:
            return []
        whole = self.end_mm - self.start_mm
        return [(a, b) for a, b in zip(inner, [*inner[1:], inner[0] + whole], strict=True)]

    def piece_at(self, arc_mm: float) -> tuple[RunPiece, float]:
        """Return the piece at an arc length, and that length on it."""
        if self.round and arc_mm > self.end_mm:
            arc_mm -= self.end_mm - self.start_mm
        for piece in self.pieces:
            if arc_mm <= piece.edge.formed_arc_mm[-1] + 1e-9:
                return piece, arc_mm
        return self.pieces[-1], arc_mm

    def formed_at(self, arc_mm: float) -> Floats:
        """(3,) float mm: the place on the form at an arc length."""
        piece, arc_mm = self.piece_at(arc_mm)
        known = piece.edge.formed_arc_mm
        return np.array([np.interp(arc_mm, known, piece.formed_mm[:, k]) for k in range(3)])


def line_runs(
    edges: Sequence[FlatEdge], formed_mm: Sequence[Floats], outward_mm: Sequence[float]
) -> list[LineRun]:
    """Join edges that only a seam or a cut parted; every side of one is a run of its own.

    Parameters
    ----------
    edges
        A blank's outline in order.
    formed_mm
        Per edge (N, 3) float mm: its points on the form.
    outward_mm
        Per edge the width of the allowance beyond it.
    """
    pieces = [
        RunPiece(edge, formed, width)
        for edge, formed, width in zip(edges, formed_mm, outward_mm, strict=True)
    ]
    runs: list[LineRun] = []
    used: set[int] = set()
    for i, piece in enumerate(pieces):
        if i in used:
            continue
        chain = [i]
        used.add(i)
        if not is_joint(piece.edge.line):
            grown = True
            while grown:
                grown = False
                for j, other in enumerate(pieces):
                    if j in used or other.edge.line != piece.edge.line:
                        continue
                    if _joins(pieces[chain[-1]], other):
                        chain.append(j)
                    elif _joins(other, pieces[chain[0]]):
                        chain.insert(0, j)
                    else:
                        continue
                    used.add(j)
                    grown = True
        runs.append(_run_of(tuple(pieces[k] for k in chain)))
    return runs


def _joins(first: RunPiece, second: RunPiece) -> bool:
    parted = any(
        at == len(first.edge.points_mm) - 1 and is_joint(line) for at, line in first.edge.neighbours
    )
    gap_mm = float(np.linalg.norm(first.formed_mm[-1] - second.formed_mm[0]))
    arc_gap = abs(first.edge.formed_arc_mm[-1] - second.edge.formed_arc_mm[0])
    return parted and gap_mm < 1e-6 and arc_gap < 1e-6


def _run_of(pieces: tuple[RunPiece, ...]) -> LineRun:
    start = float(pieces[0].edge.formed_arc_mm[0])
    end = float(pieces[-1].edge.formed_arc_mm[-1])
    gap = float(np.linalg.norm(pieces[0].formed_mm[0] - pieces[-1].formed_mm[-1]))
    is_round = gap < 1e-6
    meets: dict[float, set[str]] = {}
    for piece in pieces:
        for at, line in piece.edge.neighbours:
            if line == piece.edge.line or is_joint(line):
                continue
            arc = float(piece.edge.formed_arc_mm[at])
            known = next((a for a in meets if abs(a - arc) < 1e-6), arc)
            if is_round and abs(arc - end) < 1e-6:
                known = start
            meets.setdefault(known, set()).add(line)
    # A corner of the blank needs no tick: it is its own mark.
    closed = is_round and bool((pieces[0].edge.points_mm[0] == pieces[-1].edge.points_mm[-1]).all())
    corners = [] if closed else [float(p.edge.formed_arc_mm[e]) for p in pieces for e in (0, -1)]
    crossings = tuple(
        (arc, " / ".join(sorted(meets[arc])), all(abs(arc - c) > 1e-6 for c in corners))
        for arc in sorted(meets)
    )
    return LineRun(pieces, crossings, start, end, is_round)
