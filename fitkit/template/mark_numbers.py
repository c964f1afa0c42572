"""Numbers of match marks, counted on along each tape line over all parts of a job.

A stretch of a line between two crossings is known by where it lies in space. Every part that
meets it gets the same numbers, and no number comes twice on one line, so that two edges can only
be laid together one way. What a pair has on the wearer's other side is numbered as on the drawn
side: mirrored twins carry the same numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Floats
from fitkit.template.line_runs import LineRun, is_joint, line_runs
from fitkit.template.mirror import mirrored_name

__all__ = ["MarkNumbers", "mark_numbers", "number_runs"]

# Numbered ticks stand about this far apart; common practice, no source.
_SPACING_MM = 60.0
# The same stretch on two forms with different room under them lies this near.
_SAME_MM = 30.0
# An end counts as lower (further forward) when it is so by this share of the distance.
_CLEARLY = 0.1
_ACROSS = np.array([-1.0, 1.0, 1.0])


@dataclass(slots=True, eq=False)
class _Stretch:
    """A line between two stops: (3, 3) mm begin, middle, end; ticks; its first tick's number."""

    places_mm: Floats
    ticks: int
    paired: bool
    first: int = 1
    backwards: bool = False

    def numbers(self) -> list[int]:
        """Return the ticks' numbers from begin to end."""
        told = list(range(self.first, self.first + self.ticks))
        return told[::-1] if self.backwards else told


class MarkNumbers:
    """The stretches of every tape line in a job, numbered; made by :func:`mark_numbers`."""

    def __init__(self, lines: dict[str, list[_Stretch]]) -> None:
        self._lines = lines

    def along(self, patch: str, run: LineRun, begin_mm: float, end_mm: float) -> list[int]:
        """Return the numbers of the ticks between two places of a run, in its own direction."""
        places = _places(run, begin_mm, end_mm)
        found = _known(self._lines, _key(patch, run.line), places)
        if found is None:
            return []
        stretch, reverse = found
        return stretch.numbers()[::-1] if reverse else stretch.numbers()


def mark_numbers(flats: Iterable[FlatPatch]) -> MarkNumbers:
    """Return how the match marks of a job's blanks are numbered."""
    return number_runs(
        [
            (
                flat.design.name,
                flat.design.paired,
                line_runs(flat.outline, formed_edges(flat), [0.0] * len(flat.outline)),
            )
            for flat in flats
        ]
    )


def number_runs(runs: Sequence[tuple[str, bool, Sequence[LineRun]]]) -> MarkNumbers:
    """Return how runs are numbered; each blank tells its patch, whether it has a twin, its runs."""
    lines: dict[str, list[_Stretch]] = {}
    # Those with a twin first: what lies on the twin's side takes over their numbers.
    for patch, paired, own in sorted(runs, key=lambda one: not one[1]):
        for run in own:
            key = _key(patch, run.line)
            for begin, end in run.spans():
                places = _places(run, begin, end)
                if _known(lines, key, places) is None:
                    ticks = max(0, round((end - begin) / _SPACING_MM) - 1)
                    lines.setdefault(key, []).append(_Stretch(places, ticks, paired))
    for stretches in lines.values():
        _number(stretches)
    return MarkNumbers(lines)


def _key(patch: str, line: str) -> str:
    return f"{patch}\n{line}" if is_joint(line) else line


def _places(run: LineRun, begin: float, end: float) -> Floats:
    return np.array([run.formed_at(arc) for arc in (begin, 0.5 * (begin + end), end)])


def _known(
    lines: dict[str, list[_Stretch]], key: str, places: Floats
) -> tuple[_Stretch, bool] | None:
    """Return the stretch that lies at those places, and whether it runs the other way."""
    best: tuple[float, _Stretch, bool] | None = None
    for name, across in ((key, False), (mirrored_name(key), True)):
        own = places * _ACROSS if across else places
        for stretch in lines.get(name, []):
            if across and not stretch.paired:
                continue
            for reverse in (False, True):
                gaps = np.linalg.norm(stretch.places_mm - (own[::-1] if reverse else own), axis=1)
                off = float(gaps.max())
                if off < _SAME_MM and (best is None or off < best[0] - 1e-9):
                    best = off, stretch, reverse
    return None if best is None else best[1:]


def _number(stretches: list[_Stretch]) -> None:
    """Count the ticks on from stretch to stretch, from the lower end of each chain."""
    ends = _joined_ends(stretches)
    left = list(range(len(stretches)))
    number = 1
    while left:
        loose = [
            (at, end)
            for at in left
            for end in (0, 1)
            if sum(ends[at][end] in ends[other] for other in left) == 1
        ] or [(at, end) for at in left for end in (0, 1)]
        at, end = _first_of(stretches, loose)
        while True:
            stretch = stretches[at]
            stretch.first, stretch.backwards = number, end == 1
            number += stretch.ticks
            left.remove(at)
            stop = ends[at][1 - end]
            further = [(other, k) for other in left for k in (0, 1) if ends[other][k] == stop]
            if not further:
                break
            at, end = _first_of(stretches, further)


def _joined_ends(stretches: list[_Stretch]) -> list[tuple[int, int]]:
    """Return for each stretch the stops, numbered, at which it begins and ends."""
    stops: list[Floats] = []

    def stop(place: Floats) -> int:
        for index, known in enumerate(stops):
            if np.linalg.norm(known - place) < _SAME_MM:
                return index
        stops.append(place)
        return len(stops) - 1

    return [(stop(one.places_mm[0]), stop(one.places_mm[2])) for one in stretches]


def _first_of(stretches: list[_Stretch], ends: list[tuple[int, int]]) -> tuple[int, int]:
    """Return the end to count from: of equal ends the one whose stretch leads to the better way."""
    best = ends[0]
    for one in ends[1:]:
        here, there = (stretches[at].places_mm[:: -1 if end else 1] for at, end in (best, one))
        near = float(np.linalg.norm(here[0] - there[0])) < _SAME_MM
        if _comes_first(there[1], here[1]) if near else _comes_first(there[0], here[0]):
            best = one
    return best


def _comes_first(one: Floats, other: Floats) -> bool:
    """Whether counting starts from ``one``: the lower, else the further forward, else the right."""
    apart = float(np.linalg.norm(one - other))
    for axis in (2, 1):
        if abs(one[axis] - other[axis]) > _CLEARLY * apart:
            return bool(one[axis] < other[axis])
    return bool(one[0] < other[0])
