"""Parts moved on their sheet by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.errors import InputError
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.job.nesting_files import NESTING_FILE, nesting_file
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules, PlacedPart
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import StockSheet, rectangle_mm
from fitkit.workflow.edit_stock import add_stock
from fitkit.workflow.move_part import layout_as_pinned, move_part
from fitkit.workflow.nest_job import read_layout
from fitkit.workflow.start_job import start_job


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a job with two parts of 100 x 60 mm on a sheet of 400 x 300 mm."""
    folder = tmp_path / "heron"
    start_job(folder, name="Heron")
    sheet = {"name": "sheet", "material": "card", "thickness_mm": 0.5, "size_mm": [400.0, 300.0]}
    add_stock(folder, sheet)
    stock = StockSheet("sheet", "card", 0.5, rectangle_mm(400.0, 300.0))
    parts = [
        PartToPlace(number, f"plate {number}", Side.CENTRE, "card", 0.5, rectangle_mm(100.0, 60.0))
        for number in (1, 2)
    ]
    placed = (
        PlacedPart(parts[0], np.array([10.0, 10.0])),
        PlacedPart(parts[1], np.array([10.0, 100.0])),
    )
    layout = Nesting(NestRules(gap_mm=3.0, margin_mm=5.0), (LaidSheet(stock, 1, placed),))
    job = open_job(folder)
    with job.locked("test"):
        files = {NESTING_FILE: nesting_file(layout)}
        job.keep_result("sheets", files, inputs={}, digests=FileDigests(folder))
    assert len(read_layout(folder).placed()) == 2
    return folder


def pinned(folder: Path) -> list[tuple[str, tuple[float, float], float]]:
    rows = open_job(folder).settings.pinned
    return [(row.part, (row.at_mm[0], row.at_mm[1]), row.turn_deg) for row in rows]


def test_a_part_stays_where_it_was_moved(folder: Path) -> None:
    move_part(folder, "plate 1", by_mm=(150.0, 20.0))
    ((part, at_mm, turn_deg),) = pinned(folder)
    assert (part, turn_deg) == ("plate 1", 0.0)
    assert at_mm == pytest.approx((160.0, 30.0))


def test_moves_add_up_before_the_rest_is_laid_out_again(folder: Path) -> None:
    move_part(folder, "plate 1", by_mm=(150.0, 0.0))
    move_part(folder, "plate 1", by_mm=(0.0, 20.0))
    moved, other = layout_as_pinned(folder).placed()
    assert moved.pinned
    assert moved.shift_mm == pytest.approx([160.0, 30.0])
    assert (other.pinned, tuple(other.shift_mm)) == (False, (10.0, 100.0))


def test_a_part_turns_about_its_own_middle(folder: Path) -> None:
    """The middle of the first plate is at (60, 40); a quarter turn leaves it there."""
    move_part(folder, "plate 1", by_mm=(100.0, 100.0), turn_deg=90.0)
    ((_, at_mm, turn_deg),) = pinned(folder)
    turn = math.radians(turn_deg)
    middle = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    assert turn_deg == pytest.approx(90.0)
    assert middle @ np.array([50.0, 30.0]) + np.array(at_mm) == pytest.approx([160.0, 140.0])


@pytest.mark.parametrize(
    ("by_mm", "told"),
    [
        ((0.0, 50.0), "from 'plate 2'"),
        ((0.0, 28.5), "1.5 mm from"),
        ((300.0, 0.0), "over the edge"),
    ],
)
def test_a_part_does_not_go_where_it_cannot_be_cut(
    folder: Path, by_mm: tuple[float, float], told: str
) -> None:
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(InputError, match=told):
        move_part(folder, "plate 1", by_mm=by_mm)
    assert (folder / "job.toml").read_bytes() == before


def test_a_part_pushed_against_the_edge_stops_at_the_margin(folder: Path) -> None:
    move_part(folder, "plate 1", by_mm=(900.0, -900.0), kept_on=True)
    ((_, at_mm, _),) = pinned(folder)
    assert at_mm == pytest.approx((400.0 - 5.0 - 100.0, 5.0))


def test_an_unknown_part_is_told(folder: Path) -> None:
    with pytest.raises(InputError, match="no part 'visor'"):
        move_part(folder, "visor", by_mm=(1.0, 1.0))
