"""Match marks: ticks that two parts sharing a tape line get alike.

Each part is laid out for itself, so whatever decides a mark is read off the form, which both
share: where other tape lines meet the line, and how the stretches between are numbered over the
whole job.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.flatten.flat_patch import FlatEdge
from fitkit.geometry.arrays import Floats
from fitkit.template.line_runs import LineRun, line_runs
from fitkit.template.mark_numbers import MarkNumbers, number_runs
from fitkit.template.part import MatchMark

__all__ = ["match_marks"]

# A quarter's tick nearer than this to a corner or a crossing would only crowd it.
_CLOSE_MM = 10.0


def match_marks(
    edges: Sequence[FlatEdge],
    formed_mm: Sequence[Floats],
    outward_mm: Sequence[float],
    *,
    patch: str = "",
    numbers: MarkNumbers | None = None,
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
    patch, numbers
        Whose blank it is, and the numbers of the job; without them it is numbered by itself.

    Notes
    -----
    Where another line meets an edge between its corners, the tick bears that line's name. Between
    such places and corners ticks divide the formed length evenly and are numbered on along the
    whole tape line. A round that nothing, or one line only, meets is quartered and its ticks say
    which way they face.
    """
    runs = line_runs(edges, formed_mm, outward_mm)
    if numbers is None:
        numbers = number_runs([(patch, False, runs)])
    marks: list[MatchMark] = []
    for run in runs:
        for arc, label, due in run.crossings:
            if due:
                marks.append(_mark(run, arc, label, crossing=True))
        if run.round and len(run.crossings) < 2:
            marks += _quarters(run)
        for begin, end in run.spans():
            told = numbers.along(patch, run, begin, end)
            for place, number in enumerate(told, start=1):
                arc = begin + (end - begin) * place / (len(told) + 1)
                marks.append(_mark(run, arc, str(number), crossing=False))
    return tuple(marks)


def _quarters(run: LineRun) -> list[MatchMark]:
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


def _mark(run: LineRun, arc: float, label: str, *, crossing: bool) -> MatchMark:
    piece, arc = run.piece_at(arc)
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
