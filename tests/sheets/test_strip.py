"""Strips in processes of their own: found, ended, and gone with whoever started them."""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest
import shapely

from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.stock_sheet import rectangle_mm
from fitkit.sheets.strip import StripRun
from fitkit.sheets.strip_filling import _around
from tests.sheets.pieces import part, ring_mm

HALF = np.array([[0.0, 0.0], [200.0, 0.0], [0.0, 100.0]])


def wait_for(run: StripRun, length_mm: float, seconds: float = 60.0) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until and not run.ended:
        run.look(0.2)
        if run.best is not None and run.best.length_mm <= length_mm:
            return


def test_two_triangles_join_to_a_rectangle() -> None:
    """Halves of 200 by 100 mm, 2 mm apart and from the edge: little more than 206 mm long."""
    turns = (0.0, np.pi)
    with StripRun(
        [HALF, HALF], [turns, turns], width_mm=108.0, gap_mm=2.0, seconds=60, seed=1
    ) as run:
        wait_for(run, 212.0)
        assert run.best is not None
        assert run.best.length_mm <= 212.0
        assert run.fault == ""
    assert run._process.poll() is not None


def test_a_process_ends_when_its_starter_is_gone() -> None:
    with StripRun([HALF] * 6, [None] * 6, width_mm=300.0, gap_mm=2.0, seconds=600, seed=1) as run:
        wait_for(run, np.inf)
        assert run._process.poll() is None
        assert run._process.stdin is not None
        run._process.stdin.close()
        assert run._process.wait(timeout=30.0) == 0


def test_a_fault_of_the_library_is_told() -> None:
    """A piece that is wider than the strip."""
    wide = rectangle_mm(500.0, 400.0)
    with StripRun([wide], [(0.0,)], width_mm=100.0, gap_mm=0.0, seconds=5, seed=1) as run:
        wait_for(run, 0.0)
        assert run.ended
        assert run.fault


def test_the_process_says_what_it_lacks() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "fitkit.sheets.strip_process"],
        input="not json\n",
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode != 0


@pytest.mark.parametrize("corners", [20, 400])
def test_an_outline_of_few_corners_holds_the_whole_part(corners: int) -> None:
    rng = np.random.default_rng(corners)
    ragged = ring_mm(100.0, corners) + rng.normal(scale=0.05, size=(corners, 2))
    whole: PartToPlace = part(ragged)
    ring = shapely.Polygon(_around(whole))
    assert ring.covers(whole.polygon())
    assert whole.polygon().exterior.hausdorff_distance(ring.exterior) < 0.4
    assert len(ring.exterior.coords) < 0.5 * corners + 20
