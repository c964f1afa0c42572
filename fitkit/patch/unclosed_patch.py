"""Saying why the lines round a patch do not close, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Ints
from fitkit.patch.design import PatchDesign
from fitkit.patch.lined_form import LinedForm

__all__ = ["unclosed_patch"]


def unclosed_patch(
    lined: LinedForm, design: PatchDesign, without_border: Sequence[str]
) -> DesignError:
    """Return the error for a patch that has no edge along some of its boundary lines.

    A line that stops short of the others is named with the gap it leaves; failing that, the
    lines on which the patch has no edge are.
    """
    for line in design.boundary:
        if lined.is_closed(line):
            continue
        gap = _open_end(lined, line, [other for other in design.boundary if other != line])
        if gap is not None:
            other, distance = gap
            return DesignError(
                f"The patch '{design.name}' is not closed: the line '{line}' ends "
                f"{distance:.1f} mm short of the line '{other}'.",
                f"Make the line '{line}' longer so that it crosses the line '{other}'.",
            )
    names = ", ".join(f"'{line}'" for line in without_border)
    return DesignError(
        f"The patch '{design.name}' has no edge along {names}: it runs past or never reaches it.",
        "Put the inside anchor between all the boundary lines, make each boundary line cross the "
        "next, or leave the named one out of the boundary (a line that only opens a sleeve is "
        "its seam).",
    )


def _open_end(lined: LinedForm, line: str, others: Sequence[str]) -> tuple[str, float] | None:
    """Find the line that an open line should reach and the gap, when it meets others only once."""
    chain = lined.chains[line]
    met = np.isin(chain, np.concatenate([lined.chains[other] for other in others] or [chain[:0]]))
    meetings = np.unique(chain[met])
    if not others or len(meetings) > 1:
        return None
    points = lined.mesh.vertices[chain]
    arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    ends = [0, len(chain) - 1]
    if len(meetings) == 1:
        # Beyond the one meeting a short tail is left over; the long way on is the open one.
        at = arc[int(np.argmax(met))]
        ends = [0 if at > arc[-1] - at else len(chain) - 1]
        unmet = [other for other in others if not _meets(lined.chains[other], meetings)]
        others = unmet or others
    gaps = [(lined.distance_to(other, points[end]), other) for end in ends for other in others]
    distance, other = min(gaps)
    return other, distance


def _meets(chain: Ints, vertices: Ints) -> bool:
    return bool(np.isin(vertices, chain).any())
