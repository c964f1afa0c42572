"""Placing the anchors by which a line ends on, or passes through, other tape lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.patch.anchor import describe_anchor, place_anchors
from fitkit.patch.design import Anchor, LineAnchor
from fitkit.patch.form import Form

__all__ = ["line_meetings", "place_among_lines"]

# Lines that come nearer to each other than this meet: what putting them on the mesh makes one.
_MEETING_MM = 1e-3


def place_among_lines(
    form: Form, anchors: Sequence[Anchor], paths: Mapping[str, SurfacePath]
) -> tuple[SurfacePoint, ...]:
    """Return the points that a line's anchors mean, those on other lines among them.

    Parameters
    ----------
    anchors
        In the order of the line, so that each knows the one before it.
    paths
        The lines that the anchors name, laid on this form.

    Raises
    ------
    DesignError
        As :func:`fitkit.patch.anchor.place_anchors`, and when two lines do not meet or the
        place nearest to nothing is asked for.
    """
    plain = [i for i, anchor in enumerate(anchors) if not isinstance(anchor, LineAnchor)]
    placed = dict(zip(plain, place_anchors(form, [anchors[i] for i in plain]), strict=True))
    on_lines = [(i, a) for i, a in enumerate(anchors) if isinstance(a, LineAnchor)]
    # Those that stand by themselves come first: others are told by their neighbours.
    for i, anchor in sorted(on_lines, key=lambda row: row[1].along is None):
        neighbour = placed.get(i - 1) or placed.get(i + 1)
        near = None if neighbour is None else neighbour.point_mm
        placed[i] = _on_line(anchor, paths, near)
    return tuple(placed[i] for i in range(len(anchors)))


def _on_line(
    anchor: LineAnchor, paths: Mapping[str, SurfacePath], near: Floats | None
) -> SurfacePoint:
    path = paths[anchor.line]
    if anchor.along is not None:
        return path.point_at(anchor.along * path.length_mm())
    if anchor.crossing is not None:
        meetings = line_meetings(path, paths[anchor.crossing])
        if not meetings:
            raise DesignError(
                f"The lines '{anchor.line}' and '{anchor.crossing}' do not meet.",
                "Make one of them longer, or name another line.",
            )
        if near is None:
            return meetings[0]
        return min(meetings, key=lambda point: float(np.linalg.norm(point.point_mm - near)))
    if near is None:
        raise DesignError(
            f"The anchor {describe_anchor(anchor)} has no anchor beside it to be nearest to.",
            "Give along (0 at the line's start to 1 at its end), or the line it crosses there.",
        )
    points = path.round_points_mm
    ways = np.diff(points, axis=0)
    square = np.maximum(np.einsum("ni,ni->n", ways, ways), 1e-300)
    share = np.clip(np.einsum("ni,ni->n", near - points[:-1], ways) / square, 0.0, 1.0)
    on = points[:-1] + share[:, None] * ways
    best = int(np.linalg.norm(on - near, axis=1).argmin())
    return SurfacePoint(on[best], int(path.faces[best]))


def line_meetings(first: SurfacePath, second: SurfacePath) -> list[SurfacePoint]:
    """Return the places where two lines meet, in order along the first."""
    a, b = first.round_points_mm, second.round_points_mm
    order = np.argsort(second.faces, kind="stable")
    low = np.searchsorted(second.faces[order], first.faces, side="left")
    high = np.searchsorted(second.faces[order], first.faces, side="right")
    found: list[SurfacePoint] = []
    for i in np.flatnonzero(high > low).tolist():
        for j in order[low[i] : high[i]].tolist():
            place = _crossing(a[i], a[i + 1], b[j], b[j + 1])
            new = place is not None and not any(
                np.linalg.norm(place - other.point_mm) < _MEETING_MM for other in found
            )
            if place is not None and new:
                found.append(SurfacePoint(place, int(first.faces[i])))
    return found


def _crossing(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats | None:
    """Where two segments of one triangle come nearest, on the first, if they meet there."""
    u, v, w = b - a, d - c, a - c
    uu, uv, vv, uw, vw = (float(x) for x in (u @ u, u @ v, v @ v, u @ w, v @ w))
    rest = uu * vv - uv * uv
    share = min(max((uv * vw - vv * uw) / rest, 0.0), 1.0) if rest > 1e-12 * uu * vv else 0.0
    other = min(max((share * uv + vw) / vv, 0.0), 1.0) if vv > 0 else 0.0
    share = min(max((other * uv - uw) / uu, 0.0), 1.0) if uu > 0 else 0.0
    place: Floats = a + share * u
    return place if np.linalg.norm(place - (c + other * v)) < _MEETING_MM else None
