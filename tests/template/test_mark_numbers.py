"""Match marks numbered over all parts of a job."""

from __future__ import annotations

from collections import Counter

from fitkit.flatten.formed_edges import formed_edges
from fitkit.template.line_runs import LineRun, line_runs
from fitkit.template.mark_numbers import mark_numbers, number_runs
from fitkit.template.match_marks import match_marks
from tests.template.parts import barrel_panels
from tests.template.test_match_marks import straight

Place = tuple[float, float, float]


def runs(line: str, start: Place, end: Place, *crossings: int) -> list[LineRun]:
    """Return the one run of a straight edge, met by other lines at some of its points."""
    edge, formed = straight(start, end, tuple((at, f"line {at}") for at in crossings), line=line)
    return line_runs([edge], [formed], [0.0])


def told(numbers: object, patch: str, run: LineRun) -> list[list[int]]:
    along = numbers.along  # type: ignore[attr-defined]
    return [along(patch, run, begin, end) for begin, end in run.spans()]


def test_a_short_neighbour_takes_the_numbers_of_the_long_line() -> None:
    """Three parts above a level line, one below: its numbers run on past each crossing."""
    below = runs("waist", (0, 0, 0), (540, 0, 0), 18, 36)
    above = [runs("waist", (180 * k + 180, 0, 0), (180 * k, 0, 0)) for k in range(3)]
    blanks = [("below", False, below), *((f"above {k}", False, own) for k, own in enumerate(above))]
    numbers = number_runs(blanks)
    assert told(numbers, "below", below[0]) == [[1, 2], [3, 4], [5, 6]]
    for k in range(3):
        (own,) = told(numbers, f"above {k}", above[k][0])
        assert own == [2 * k + 2, 2 * k + 1]


def test_lengths_that_differ_by_a_hair_still_get_as_many_ticks() -> None:
    """149 and 151 mm stand on either side of two and a half spacings."""
    one = runs("side", (0, 0, 0), (0, 0, 149))
    other = runs("side", (0, 4, 0), (0, 4, 151))
    numbers = number_runs([("one", False, one), ("other", False, other)])
    assert told(numbers, "one", one[0]) == told(numbers, "other", other[0]) == [[1]]


def test_what_meets_a_twin_is_numbered_as_on_the_drawn_side() -> None:
    drawn = runs("left side", (120, 0, 0), (120, 0, 240))
    back = runs("left side", (121, 2, 240), (121, 2, 0)) + runs(
        "right side", (-118, 3, 0), (-118, 3, 240)
    )
    numbers = number_runs([("back", False, back), ("front", True, drawn)])
    assert told(numbers, "front", drawn[0]) == [[1, 2, 3]]
    assert told(numbers, "back", back[0]) == [[3, 2, 1]]
    assert told(numbers, "back", back[1]) == [[1, 2, 3]]


def test_no_number_comes_twice_on_a_line_of_a_round_barrel() -> None:
    panels = barrel_panels()
    numbers = mark_numbers(panels.values())
    seen: dict[str, Counter[str]] = {}
    for name, flat in panels.items():
        widths = [0.0] * len(flat.outline)
        marks = match_marks(flat.outline, formed_edges(flat), widths, patch=name, numbers=numbers)
        for mark in marks:
            if not mark.crossing:
                seen.setdefault(mark.line, Counter())[mark.label] += 1
    # Each tick of the waist and of the centre stands on the two parts that meet there.
    assert sorted(seen["waist"]) == ["1", "2", "3", "4"]
    assert sorted(seen["centre"]) == ["1", "2"]
    assert set(seen["waist"].values()) == set(seen["centre"].values()) == {2}
    assert set(seen["hem"].values()) == set(seen["collar"].values()) == {1}
