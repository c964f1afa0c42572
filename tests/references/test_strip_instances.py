"""The strips behind the sheets, held to published instances."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely

from fitkit.sheets.nesting import PlacedPart
from fitkit.sheets.strip import StripLayout, StripRun
from tests.references.strip_instances import (
    FOLDER,
    FU,
    RECORD_LENGTHS,
    StripInstance,
    read_instance,
)
from tests.sheets.pieces import part

needs_the_data = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the published nesting instances are not on this machine"
)


def squeezed(instance: StripInstance, density: float, seconds: float) -> StripLayout:
    """Return the first layout as dense as asked, the best there is after so many seconds."""
    started = time.monotonic()
    with StripRun(
        instance.outlines,
        instance.turns_rad,
        width_mm=instance.width,
        gap_mm=0.0,
        seconds=seconds,
        seed=1,
    ) as run:
        while not run.ended and time.monotonic() < started + seconds:
            run.look(0.2)
            if run.best is not None and instance.density(run.best.length_mm) >= density:
                break
        assert run.fault == ""
        assert run.best is not None
        return run.best


def assert_lies_in_the_strip(instance: StripInstance, layout: StripLayout) -> None:
    """No piece over another or the strip's edge by more than a ten-thousandth of its width."""
    slack = 1e-4 * instance.width
    polygons = [
        PlacedPart(part(outline), np.array([x, y]), turn).polygon()
        for outline, (x, y, turn) in zip(instance.outlines, layout.places, strict=True)
    ]
    strip = shapely.box(0.0, 0.0, layout.length_mm, instance.width).buffer(slack)
    assert all(strip.covers(polygon) for polygon in polygons)
    over = sum(float(a.area) for a in polygons) - float(shapely.union_all(polygons).area)
    assert over < slack * sum(float(a.length) for a in polygons)


def test_twelve_convex_pieces_come_within_a_few_per_cent_of_the_record() -> None:
    """Instance fu: record density 92.4 % (Gardeyn et al. 2025, 20 minutes); here seconds."""
    layout = squeezed(FU, 0.86, 60.0)
    assert FU.record == pytest.approx(0.924, abs=0.001)
    assert FU.density(layout.length_mm) >= 0.86
    assert_lies_in_the_strip(FU, layout)


@needs_the_data
@pytest.mark.parametrize(
    ("name", "record"),
    [("swim", 0.7983), ("shirts", 0.9092), ("trousers", 0.9261), ("albano", 0.8982)],
)
def test_the_instances_are_those_of_the_records(name: str, record: float) -> None:
    assert read_instance(name).record == pytest.approx(record, abs=0.0002)


@needs_the_data
@pytest.mark.slow
@pytest.mark.parametrize(("name", "density"), [("swim", 0.70), ("trousers", 0.86)])
def test_published_strips_are_squeezed_and_stay_valid(name: str, density: float) -> None:
    """A floor reached within seconds; the bench tells how far two minutes go."""
    instance = read_instance(name)
    layout = squeezed(instance, density, 120.0)
    assert density <= instance.density(layout.length_mm) <= instance.record
    assert layout.length_mm >= RECORD_LENGTHS[name]
    assert_lies_in_the_strip(instance, layout)
