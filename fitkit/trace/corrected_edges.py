"""From a piece laid over its part to the moves of the part's edges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from fitkit.geometry.arrays import Floats
from fitkit.template.correction import Correction, EdgeMove, edge_frames

__all__ = ["corrected_edges"]

# How far a maker trims or adds in one go; what is further away is another edge.
_REACH_MM = 25.0
# Less than this is how truly one cuts along a line (common practice, no source).
_UNCHANGED_MM = 0.5
# Near a corner a photo rounds the outline; moves are read off this far from it.
_CORNER_MM = 2.5
_TOLERANCE_MM = 0.12
_NOTHING_MM = 0.05
_STATION_MM = 1.0
# A moved edge still runs about the same way, looked at over twice this length.
_LEAST_COS = 0.77
_DIRECTION_MM = 1.5
# Edges that meet flatter than this have no corner of their own.
_FLAT_RAD = 0.4


def corrected_edges(
    patch: str,
    names: Sequence[str],
    edges_mm: Sequence[Floats],
    widths_mm: Sequence[float],
    outline_mm: Floats,
) -> Correction:
    """Return how a blank's edges moved to become a traced outline.

    Parameters
    ----------
    patch
        Whose blank it is.
    names, edges_mm
        The blank's edges in order, counter-clockwise, joining end to end.
    widths_mm
        Width of the allowance beyond each edge: the card was cut along its outer line, and edge
        and allowance move together.
    outline_mm
        (N, 2) float mm: the piece's outline, counter-clockwise, laid over the blank.

    Returns
    -------
    Correction
        Of the edges that moved by more than cutting is true.
    """
    ring = shapely.LinearRing(outline_mm)
    shapely.prepare(ring)
    read = [
        _outward_moves(points, width, ring)
        for points, width in zip(edges_mm, widths_mm, strict=True)
    ]
    kept = [np.abs(out).max() >= _UNCHANGED_MM for _, out in read]
    outs = [out if keep else np.zeros_like(out) for (_, out), keep in zip(read, kept, strict=True)]
    count = len(edges_mm)
    starts = [np.zeros(2) for _ in range(count)]
    ends = [np.zeros(2) for _ in range(count)]
    for i in range(count):
        j = (i + 1) % count
        if not (kept[i] or kept[j]):
            continue
        corner = _corner_move(edges_mm[i], outs[i][-1], edges_mm[j], outs[j][0])
        ends[i] = starts[j] = corner
    counts: dict[str, int] = {}
    moves = []
    for i, name in enumerate(names):
        piece = counts.get(name, 0)
        counts[name] = piece + 1
        if not kept[i] and not starts[i].any() and not ends[i].any():
            continue
        share, out = read[i][0], outs[i]
        _, ahead, outward = edge_frames(edges_mm[i])
        along = np.interp(share, [0.0, 1.0], [starts[i] @ ahead[0], ends[i] @ ahead[-1]])
        out = out.copy()
        out[0], out[-1] = starts[i] @ outward[0], ends[i] @ outward[-1]
        length = float(np.linalg.norm(np.diff(edges_mm[i], axis=0), axis=1).sum())
        rows = _thinned(share, out, along, length)
        if np.abs(rows[:, 1:]).max() > _NOTHING_MM:
            moves.append(EdgeMove(name, piece, rows))
    return Correction(patch, tuple(moves))


def _outward_moves(points: Floats, width: float, ring: shapely.LinearRing) -> tuple[Floats, Floats]:
    """Return stations' shares along an edge, and how far the ring lies beyond each."""
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    stations = max(3, round(length / _STATION_MM) + 1)
    share = np.linspace(0.0, 1.0, stations)
    own_share, _, outward = edge_frames(points)
    at = np.column_stack([np.interp(share, own_share, points[:, k]) for k in range(2)])
    normal = np.column_stack([np.interp(share, own_share, outward[:, k]) for k in range(2)])
    normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    from_mm, to_mm = at + (width - _REACH_MM) * normal, at + (width + _REACH_MM) * normal
    rays = shapely.linestrings(np.stack([from_mm, to_mm], axis=1))
    out = np.full(stations, np.nan)
    crossings = shapely.intersection(rays, ring)
    places = shapely.get_coordinates(crossings)
    station = np.repeat(np.arange(stations), shapely.get_num_coordinates(crossings))
    # Where the piece ends before the edge does, the ray meets the cut that ended it.
    same = np.sum(_directions(ring, places) * _turned_left(normal)[station], axis=1) > _LEAST_COS
    off = np.sum((places - at[station]) * normal[station], axis=1) - width
    for n in np.unique(station[same]):
        own = off[same & (station == n)]
        out[n] = own[np.abs(own).argmin()]
    inner = (share * length > _CORNER_MM) & ((1 - share) * length > _CORNER_MM)
    good = np.isfinite(out) & inner
    if not good.any():
        good = np.isfinite(out)
    if not good.any():
        return share, np.zeros(stations)
    return share, np.interp(share, share[good], out[good])


def _directions(ring: shapely.LinearRing, places: Floats) -> Floats:
    """(N, 2): which way the ring runs at each place on it."""
    arc = shapely.line_locate_point(ring, shapely.points(places))
    whole = float(ring.length)
    ends = [
        shapely.get_coordinates(shapely.line_interpolate_point(ring, (arc + step) % whole))
        for step in (-_DIRECTION_MM, _DIRECTION_MM)
    ]
    ahead = ends[1] - ends[0]
    directions: Floats = ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-12)
    return directions


def _turned_left(normals: Floats) -> Floats:
    return np.column_stack([-normals[:, 1], normals[:, 0]])


def _corner_move(before: Floats, out_before: float, after: Floats, out_after: float) -> Floats:
    """Return how the corner between two edges moves when each moves outwards by its own."""
    _, ahead1, normal1 = edge_frames(before)
    _, ahead2, normal2 = edge_frames(after)
    n1, n2 = normal1[-1], normal2[0]
    turn = abs(float(ahead1[-1][0] * ahead2[0][1] - ahead1[-1][1] * ahead2[0][0]))
    if turn < np.sin(_FLAT_RAD):
        return np.asarray(0.5 * (out_before * n1 + out_after * n2))
    return np.linalg.solve(np.stack([n1, n2]), np.array([out_before, out_after]))


def _thinned(share: Floats, out: Floats, along: Floats, length: float) -> Floats:
    """Return the rows needed to tell the moves straight between them."""
    keep = np.zeros(len(share), dtype=np.bool_)
    keep[[0, -1]] = True
    todo = [(0, len(share) - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        part = (share[a : b + 1] - share[a]) / (share[b] - share[a])
        off = np.hypot(
            out[a : b + 1] - (out[a] + part * (out[b] - out[a])),
            along[a : b + 1] - (along[a] + part * (along[b] - along[a])),
        )
        worst = int(off.argmax())
        if off[worst] > _TOLERANCE_MM:
            keep[a + worst] = True
            todo += [(a, a + worst), (a + worst, b)]
    rows = np.column_stack([share, out, along])[keep]
    # A hundredth of a millimetre and a tenth of it along the edge is finer than card.
    decimals = 4 if length > 50 else 3
    return np.column_stack([np.round(rows[:, 0], decimals), np.round(rows[:, 1:], 2)])
