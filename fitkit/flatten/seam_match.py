"""How well the blanks of two plates agree along the line where they meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.flatten.edge_names import is_seam
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.flatten.formed_edges import TOGETHER_MM, formed_edges
from fitkit.geometry.arrays import Floats
from fitkit.materials.sheet_material import sheet_material_named

__all__ = ["SeamMatch", "match_findings", "seam_matches"]

# Less of a shared line than this is two corners touching.
_SHORTEST_MM = 5.0
# A seam that is longer on one side by this much puckers or gaps to be seen; common practice.
_TOLD_MM = 1.0


@dataclass(frozen=True, slots=True)
class SeamMatch:
    """A stretch of tape line along which two blanks meet.

    Attributes
    ----------
    line, first, second
        Name of the line and of the patches.
    formed_mm
        Its length on the form.
    first_mm, second_mm
        Its length on each blank.
    """

    line: str
    first: str
    second: str
    formed_mm: float
    first_mm: float
    second_mm: float

    @property
    def mismatch_mm(self) -> float:
        """By how much it is longer on the first blank."""
        return self.first_mm - self.second_mm


def seam_matches(flats: Sequence[FlatPatch]) -> tuple[SeamMatch, ...]:
    """Return every stretch along which the edges of two blanks are the same on the form.

    An edge may go on beyond its neighbour; the shared part alone is measured.
    """
    formed = [formed_edges(flat) for flat in flats]
    result = []
    for i, j in combinations(range(len(flats)), 2):
        for edge, points in zip(flats[i].outline, formed[i], strict=True):
            for other, there in zip(flats[j].outline, formed[j], strict=True):
                if edge.line != other.line or is_seam(edge.line):
                    continue
                shared = _shared(points, there)
                if shared is None:
                    continue
                result.append(
                    SeamMatch(
                        edge.line,
                        flats[i].design.name,
                        flats[j].design.name,
                        shared[1] - shared[0],
                        _laid_mm(edge, points, shared),
                        _laid_mm(other, there, _along(there, _at(points, shared))),
                    )
                )
    return tuple(result)


def match_findings(flats: Sequence[FlatPatch], matches: Sequence[SeamMatch]) -> tuple[Finding, ...]:
    """Say where two blanks disagree along their seam by more than a millimetre."""
    material = {flat.design.name: sheet_material_named(flat.design.material) for flat in flats}
    result = []
    for match in matches:
        if abs(match.mismatch_mm) <= _TOLD_MM:
            continue
        # A sheet that only bends cannot be hammered to its neighbour's length.
        stiff = any(material[name].forming == "roll" for name in (match.first, match.second))
        longer, shorter = (match.first, match.second)[:: 1 if match.mismatch_mm > 0 else -1]
        result.append(
            Finding(
                "seam-mismatch",
                Severity.WARNING if stiff else Severity.NOTE,
                match.first,
                f"Along '{match.line}' the blank of '{match.first}' measures {match.first_mm:.1f} "
                f"mm and that of '{match.second}' {match.second_mm:.1f} mm "
                f"({match.formed_mm:.1f} mm on the form): '{longer}' is "
                f"{abs(match.mismatch_mm):.1f} mm longer than '{shorter}' until they are formed.",
                f'Give both patches hold = ["{match.line}"] to cut them to one length there.',
                number=match.mismatch_mm,
                limit=_TOLD_MM,
                unit="mm",
            )
        )
    return tuple(result)


def _arc(points: Floats) -> Floats:
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _at(points: Floats, arcs: tuple[float, float]) -> Floats:
    arc = _arc(points)
    return np.column_stack([np.interp(arcs, arc, points[:, k]) for k in range(3)])


def _along(points: Floats, places: Floats) -> tuple[float, float]:
    """Return the arcs, lesser first, at which a line passes nearest to two places."""
    arc, begin, step = _arc(points)[:-1], points[:-1], np.diff(points, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-300)
    found = []
    for place in places:
        share = np.clip(((place - begin) * step).sum(axis=1) / square, 0.0, 1.0)
        off = np.linalg.norm(begin + share[:, None] * step - place, axis=1)
        k = int(np.argmin(off))
        found.append(float(arc[k] + share[k] * np.sqrt(square[k])))
    return min(found), max(found)


def _shared(points: Floats, others: Floats) -> tuple[float, float] | None:
    """Return from where to where, as arcs on the first line, it runs together with the other."""
    arc = _arc(points)
    # Arcs as finely as the finer of the two lines.
    fine = np.unique(np.concatenate([arc, np.linspace(0.0, arc[-1], len(points) + len(others))]))
    places = np.column_stack([np.interp(fine, arc, points[:, k]) for k in range(3)])
    near = _distance_mm(places, others) <= TOGETHER_MM
    runs = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(np.int8), [0]])))
    if len(runs) == 0:
        return None
    spans = [(fine[a], fine[b - 1]) for a, b in runs.reshape(-1, 2)]
    start, end = max(spans, key=lambda span: span[1] - span[0])
    if end - start < _SHORTEST_MM:
        return None
    # A line that ends beside the other runs on past its end by the nearness asked for: no further
    # than the other's own ends.
    if np.linalg.norm(others[0] - others[-1]) > TOGETHER_MM:
        ends = _along(points, others[[0, -1]])
        start, end = max(start, ends[0]), min(end, ends[1])
    return (float(start), float(end)) if end - start >= _SHORTEST_MM else None


def _distance_mm(places: Floats, line: Floats) -> Floats:
    begin, step = line[:-1], np.diff(line, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-300)
    share = np.clip(((places[:, None] - begin) * step).sum(axis=2) / square, 0.0, 1.0)
    off = np.linalg.norm(begin + share[:, :, None] * step - places[:, None], axis=2)
    result: Floats = off.min(axis=1)
    return result


def _laid_mm(edge: FlatEdge, points: Floats, arcs: tuple[float, float]) -> float:
    """Return how long the part of an edge between two arcs on the form is on the flat."""
    there = np.interp(arcs, _arc(points), _arc(edge.points_mm))
    return float(there[1] - there[0])
