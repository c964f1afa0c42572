"""Saying where the lines round a patch do not close, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.topology import opposite_half_edges
from fitkit.patch.design import PatchDesign
from fitkit.patch.form import Form
from fitkit.patch.lined_form import LinedForm
from fitkit.patch.patch import InnerLine
from fitkit.patch.place_in_words import place_in_words
from fitkit.patch.region_lines import RegionLines

__all__ = ["line_stops_short", "unclosed_patch"]

# A line that ends so near to another was probably meant to reach it.
_SHORT_MM = 15.0


def unclosed_patch(form: Form, lined: LinedForm, design: PatchDesign, region: Bools) -> DesignError:
    """Return the error for a patch that has no edge along some of its boundary lines.

    A line that stops short of the others is named with the gap it leaves and the place; failing
    that, the lines on which the patch has no edge are, with the place where it runs past them.

    Parameters
    ----------
    design
        With its boundary lines told.
    region
        (F,) bool: what can be reached from its inside.
    """
    for line in design.boundary:
        if lined.is_closed(line):
            continue
        gap = _open_end(lined, line, [other for other in design.boundary if other != line])
        if gap is not None:
            other, distance, place = gap
            return DesignError(
                f"The patch '{design.name}' is not closed: the line '{line}' ends "
                f"{distance:.1f} mm short of the line '{other}', "
                f"{place_in_words(form.body, place)}.",
                f"Make the line '{line}' longer so that it crosses the line '{other}'.",
            )
    cells = np.unique(lined.cells[region])
    within: Bools = np.isin(lined.edge_cells, cells)
    on_lines = lined.on_edge[:, lined.columns(design.boundary)]
    one_side: Bools = within[:, 0] != within[:, 1]
    bounds: Bools = np.asarray(on_lines[one_side].any(axis=0))
    both_sides: Bools = np.asarray(within.all(axis=1))
    crossed: Bools = np.asarray(on_lines[both_sides].any(axis=0))
    without = [line for line, edge in zip(design.boundary, bounds, strict=True) if not edge]
    past = [
        line
        for line, edge, both in zip(design.boundary, bounds, crossed, strict=True)
        if both and not edge
    ]
    where = ""
    if past:
        place = _way_round(lined, past[0], design.boundary, region)
        where = f" It leaks round the line '{past[0]}' {place_in_words(form.body, place)}."
    names = ", ".join(f"'{line}'" for line in without)
    return DesignError(
        f"The patch '{design.name}' has no edge along {names}: it runs past or never reaches it."
        f"{where}",
        "Put the inside anchor between all the boundary lines, make each boundary line cross the "
        "next, or leave the named one out of the boundary (a line that only opens a sleeve is "
        "its seam).",
    )


def line_stops_short(
    form: Form,
    lined: LinedForm,
    design: PatchDesign,
    drawn: RegionLines,
    inner: Sequence[InnerLine],
) -> list[Finding]:
    """Return a warning for each line that ends inside a patch, but little short of its border.

    For a patch that names no lines: such a line may have been meant to bound it.
    """
    findings = []
    bounding = drawn.border_lines()
    for line in inner:
        for end in (line.vertices[0], line.vertices[-1]):
            if drawn.meets_another_line(int(end), line.line):
                continue
            place = drawn.mesh.vertices[end]
            distance, other = min((lined.distance_to(o, place), o) for o in bounding)
            if distance < _SHORT_MM:
                findings.append(
                    Finding(
                        "line-stops-short",
                        Severity.WARNING,
                        design.name,
                        f"In the patch '{design.name}' the line '{line.line}' ends "
                        f"{distance:.1f} mm short of the line '{other}', "
                        f"{place_in_words(form.body, place)}.",
                        f"Make the line '{line.line}' longer if it is to bound the patch.",
                        number=distance,
                        limit=_SHORT_MM,
                    )
                )
    return findings


def _way_round(lined: LinedForm, line: str, boundary: Sequence[str], region: Bools) -> Floats:
    """Middle of the shortest way within a region from one side of a line to its other side."""
    mesh, opposite = lined.mesh, opposite_half_edges(lined.mesh)
    keys = lined.keys.ravel()
    shut = lined.lines_along(keys)[:, lined.columns(boundary)].any(axis=1)
    half = np.flatnonzero((opposite >= 0) & ~shut & np.repeat(region, 3))
    count = len(mesh.faces)
    graph = coo_array((np.ones(len(half)), (half // 3, opposite[half] // 3)), shape=(count, count))
    chain = lined.chain_keys[line]
    middle = int(np.argmax(keys == chain[len(chain) // 2]))
    first, last = middle // 3, int(opposite[middle]) // 3
    _, before = dijkstra(graph.tocsr(), indices=first, unweighted=True, return_predecessors=True)
    way = [last]
    while way[-1] != first and before[way[-1]] >= 0:
        way.append(int(before[way[-1]]))
    place: Floats = mesh.corners[way[len(way) // 2]].mean(axis=0)
    return place


def _open_end(
    lined: LinedForm, line: str, others: Sequence[str]
) -> tuple[str, float, Floats] | None:
    """Find the line that an open line should reach, the gap and where it is, mm.

    None where the line meets others more than once.
    """
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
    gaps = [(lined.distance_to(other, points[end]), other, end) for end in ends for other in others]
    distance, other, end = min(gaps)
    return other, distance, points[end]


def _meets(chain: Ints, vertices: Ints) -> bool:
    return bool(np.isin(vertices, chain).any())
