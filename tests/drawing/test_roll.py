"""Paper on a roll: pages as long as they need to be."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.drawing.page import PageSet
from fitkit.drawing.paper import paper_named
from fitkit.drawing.roll import shortest_length_mm
from fitkit.drawing.tiling import tile_drawings
from fitkit.errors import InputError
from tests.drawing.example_parts import costume, plate


def printed(*parts: object, roll: str = "roll 610") -> PageSet:
    return tile_drawings(parts, paper=paper_named(roll), title="The Heron Warden")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "width_mm"), [("roll 610", 610.0), ("Roll 36 in", 914.4), ("roll 84.1 cm", 841.0)]
)
def test_a_roll_is_told_by_its_width(name: str, width_mm: float) -> None:
    paper = paper_named(name)
    assert paper.width_mm == pytest.approx(width_mm)
    assert paper.on_roll
    assert paper.height_mm == 5000.0


@pytest.mark.parametrize("name", ["roll 90", "roll 3 m", "roll", "roll wide"])
def test_a_roll_nobody_sells_is_refused(name: str) -> None:
    with pytest.raises(InputError):
        paper_named(name)


def test_length_of_four_squares_two_abreast() -> None:
    """Two rows of 280 mm squares and the gap between: 568 mm (closed form), halved down to 2."""
    length = shortest_length_mm([(280.0, 280.0)] * 4, (590.0, 4960.0), gap_mm=8.0)
    assert 568.0 <= length <= 570.0


def test_a_costume_comes_on_one_page_with_its_map_before_it() -> None:
    pages = printed(*costume())
    assert [len(page.windows) for page in pages.pages] == [0, 5]
    assert {page.paper.width_mm for page in pages.pages} == {610.0}
    page = pages.pages[1]
    used = np.array([window.clip_mm for window in page.windows])
    # Cut off where the parts end: margins, foot line and a rim are all that is added.
    assert page.paper.height_mm - np.ptp(used[:, :, 1]) < 40.0
    assert used[:, 0].min() >= 10.0 - 1e-9
    assert used[:, 1, 0].max() <= 600.0 + 1e-9
    for window in page.windows:
        drawn = window.page_from_part(pages.parts[window.part].strokes[0].points_mm)
        assert (drawn >= window.clip_mm[0]).all()
        assert (drawn <= window.clip_mm[1]).all()


def test_a_part_wider_than_the_roll_is_joined_from_strips_of_one_length() -> None:
    pages = printed(plate("great wing", 900.0, 1400.0), roll="roll 594")
    strips = [page for page in pages.pages if page.windows]
    assert [strip.windows[0].tile for strip in strips] == ["A1", "A2"]
    assert len({strip.paper.height_mm for strip in strips}) == 1
    assert strips[0].paper.height_mm < 1450.0
    # Both strips lie level: the same place of the part is as high on both.
    assert strips[0].windows[0].shift_mm[1] == pytest.approx(strips[1].windows[0].shift_mm[1])
