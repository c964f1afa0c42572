"""Match marks: ticks that two parts sharing a tape line get alike.

Each part is laid out for itself, so whatever decides a mark is read off the form, which both
share: where other tape lines meet the line, the length along it between those places, and
which end is the lower one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.flatten.cut_border import is_cut_edge
from fitkit.flatten.flat_patch import FlatEdge
from fitkit.flatten.seam import is_seam
from fitkit.geometry.arrays import Floats
from fitkit.template.part import MatchMark

__all__ = ["match_marks"]

# Numbered ticks stand about this far apart; common practice, no source.
_SPACING_MM = 60.0
# A quarter's tick nearer than this to a corner or a crossing would only crowd it.
_CLOSE_MM = 10.0
# An end counts as lower (further forward) when it is so by this share of the distance.
_CLEARLY = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """A flat edge with its points on the form."""

    edge: FlatEdge
    formed_mm: Floats
    outward_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """All of a tape line along which the part's border runs on without a corner."""

    pieces: tuple[_Piece, ...]
    crossings: tuple[tuple[float, str, bool], ...]
    """Arc length, the lines that meet there, whether a tick is due (not at corners)."""
    start_mm: float
    end_mm: float
    round: bool


def match_marks(
    edges: Sequence[FlatEdge], formed_mm: Sequence[Floats], outward_mm: Sequence[float]
) -> tuple[MatchMark, ...]:
    """Return the match marks of a blank.

    Parameters
    ----------
    edges
        Its outline in order.
    formed_mm
        Per edge (N, 3) float mm: its points on the form.
    outward_mm
        Per edge the width of the allowance beyond it.

    Notes
    -----
    Where another line meets an edge between its corners, the tick bears that line's name. Between
    such places and corners ticks divide the formed length evenly and are numbered from the lower
    end; from the one further forward where both are level; else from the wearer's right. A round
    that nothing, or one line only, meets is quartered and its ticks say which way they face.
    """
    pieces = [
        _Piece(edge, formed, width)
        for edge, formed, width in zip(edges, formed_mm, outward_mm, strict=True)
    ]
    marks: list[MatchMark] = []
    for run in _runs(pieces):
        for arc, label, due in run.crossings:
            if due:
                marks.append(_mark(run, arc, label, crossing=True))
        if run.round and len(run.crossings) < 2:
            marks += _quarters(run)
            continue
        for begin, end in _spans(run):
            marks += _numbered(run, begin, end)
    return tuple(marks)


def _runs(pieces: list[_Piece]) -> list[_Run]:
    """Join pieces that only a seam or a cut parted; every side of one is a run of its own."""
    runs: list[_Run] = []
    used: set[int] = set()
    for i, piece in enumerate(pieces):
        if i in used:
            continue
        chain = [i]
        used.add(i)
        if not _is_joint(piece.edge.line):
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


def _is_joint(line: str) -> bool:
    """Whether an edge is one side of a joint within the part."""
    return is_seam(line) or is_cut_edge(line)


def _joins(first: _Piece, second: _Piece) -> bool:
    parted = any(
        at == len(first.edge.points_mm) - 1 and _is_joint(line)
        for at, line in first.edge.neighbours
    )
    gap_mm = float(np.linalg.norm(first.formed_mm[-1] - second.formed_mm[0]))
    arc_gap = abs(first.edge.formed_arc_mm[-1] - second.edge.formed_arc_mm[0])
    return parted and gap_mm < 1e-6 and arc_gap < 1e-6


def _run_of(pieces: tuple[_Piece, ...]) -> _Run:
    start = float(pieces[0].edge.formed_arc_mm[0])
    end = float(pieces[-1].edge.formed_arc_mm[-1])
    gap = float(np.linalg.norm(pieces[0].formed_mm[0] - pieces[-1].formed_mm[-1]))
    is_round = gap < 1e-6
    meets: dict[float, set[str]] = {}
    for piece in pieces:
        for at, line in piece.edge.neighbours:
            if line == piece.edge.line or _is_joint(line):
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
    return _Run(pieces, crossings, start, end, is_round)


def _spans(run: _Run) -> list[tuple[float, float]]:
    """Return the stretches between neighbouring crossings and corners, as arc lengths."""
    inner = [arc for arc, _, _ in run.crossings]
    if not run.round:
        stops = sorted({run.start_mm, run.end_mm, *inner})
        return [(a, b) for a, b in pairwise(stops) if b - a > 1e-6]
    whole = run.end_mm - run.start_mm
    return [(a, b) for a, b in zip(inner, [*inner[1:], inner[0] + whole], strict=True)]


def _numbered(run: _Run, begin: float, end: float) -> list[MatchMark]:
    parts = round((end - begin) / _SPACING_MM)
    if parts < 2:
        return []
    first, last = _formed_at(run, begin), _formed_at(run, end)
    backwards = _comes_first(last, first)
    marks = []
    for k in range(1, parts):
        arc = begin + (end - begin) * k / parts
        marks.append(_mark(run, arc, str(parts - k if backwards else k), crossing=False))
    return marks


def _comes_first(one: Floats, other: Floats) -> bool:
    """Whether counting starts from ``one``: the lower, else the further forward, else the right."""
    apart = float(np.linalg.norm(one - other))
    for axis in (2, 1):
        if abs(one[axis] - other[axis]) > _CLEARLY * apart:
            return bool(one[axis] < other[axis])
    return bool(one[0] < other[0])


def _quarters(run: _Run) -> list[MatchMark]:
    """Return four ticks round a whole line, told by the way they face from its middle."""
    points = np.concatenate([p.formed_mm[:-1] for p in run.pieces])
    after = np.roll(points, -1, axis=0)
    step = np.linalg.norm(after - points, axis=1)
    middle = np.average(0.5 * (points + after), axis=0, weights=step)
    area = np.cross(points - middle, after - middle).sum(axis=0)
    # The two world directions nearest to the line's own plane.
    flat_axes = [axis for axis in range(3) if axis != int(np.argmax(np.abs(area)))]
    names = {0: ("wearer's left", "wearer's right"), 1: ("back", "front"), 2: ("top", "bottom")}
    arcs = np.concatenate(
        [p.edge.formed_arc_mm[:-1] for p in run.pieces] + [run.pieces[-1].edge.formed_arc_mm[-1:]]
    )
    closed = np.vstack([points, points[:1]]) - middle
    first, last = run.pieces[0].edge.points_mm[0], run.pieces[-1].edge.points_mm[-1]
    opened = bool((first != last).any())
    marks = []
    for axis, across in (flat_axes, flat_axes[::-1]):
        for sign, name in zip((1.0, -1.0), names[axis], strict=True):
            # Where the line crosses the half-plane from its middle towards this side.
            side = closed[:, across]
            hits = np.flatnonzero((side[:-1] <= 0) != (side[1:] <= 0))
            share = side[hits] / (side[hits] - side[hits + 1])
            reach = closed[hits, axis] + share * (closed[hits + 1, axis] - closed[hits, axis])
            far = reach * sign
            if len(far) == 0 or far.max() <= 0:
                continue
            best = int(np.argmax(far))
            here = arcs[hits[best]]
            arc = here + share[best] * (arcs[hits[best] + 1] - here)
            whole = run.end_mm - run.start_mm
            spoken_for = [known for known, _, _ in run.crossings]
            spoken_for += [float(p.edge.formed_arc_mm[0]) for p in run.pieces] if opened else []
            apart = [min(abs(arc - a), whole - abs(arc - a)) for a in spoken_for]
            if min(apart, default=np.inf) > _CLOSE_MM:
                marks.append(_mark(run, float(arc), name, crossing=False))
    return marks


def _piece_at(run: _Run, arc: float) -> tuple[_Piece, float]:
    if run.round and arc > run.end_mm:
        arc -= run.end_mm - run.start_mm
    for piece in run.pieces:
        if arc <= piece.edge.formed_arc_mm[-1] + 1e-9:
            return piece, arc
    return run.pieces[-1], arc


def _formed_at(run: _Run, arc: float) -> Floats:
    piece, arc = _piece_at(run, arc)
    known = piece.edge.formed_arc_mm
    return np.array([np.interp(arc, known, piece.formed_mm[:, k]) for k in range(3)])


def _mark(run: _Run, arc: float, label: str, *, crossing: bool) -> MatchMark:
    piece, arc = _piece_at(run, arc)
    known, points = piece.edge.formed_arc_mm, piece.edge.points_mm
    at = np.array([np.interp(arc, known, points[:, k]) for k in range(2)])
    place = int(np.clip(np.searchsorted(known, arc), 1, len(points) - 1))
    # Square to the chord over a few millimetres, so that one short step does not tip the tick.
    ahead = np.array([np.interp(arc + 2.0, known, points[:, k]) for k in range(2)])
    behind = np.array([np.interp(arc - 2.0, known, points[:, k]) for k in range(2)])
    along = ahead - behind
    if not np.linalg.norm(along) > 0:
        along = points[place] - points[place - 1]
    along = along / np.linalg.norm(along)
    return MatchMark(
        at,
        np.array([-along[1], along[0]]),
        label,
        piece.edge.line,
        crossing,
        piece.outward_mm,
    )
