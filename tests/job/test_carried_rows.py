from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body import Landmark
from fitkit.errors import JobError
from fitkit.job.carried_rows import carried_rows, with_rows_of
from fitkit.job.settings_text import read_settings
from fitkit.patch.landmark_map import LandmarkMap

PLACES = {
    "front waist": (0.0, -100.0, 1000.0),
    "back waist": (0.0, 100.0, 1000.0),
    "left chest": (150.0, 0.0, 1200.0),
    "right chest": (-150.0, 0.0, 1200.0),
    "top": (0.0, 0.0, 1500.0),
}
HERE = {name: Landmark(name, np.array(at)) for name, at in PLACES.items()}
TWICE = LandmarkMap(HERE, {n: Landmark(n, 2.0 * np.array(at)) for n, at in PLACES.items()})

DESIGN = """\
format = 1

[job]
name = "Heron"

[form]
clearance_mm = 7  # vest

# where the belt sits
[[line]]
name = "waist"
kind = "level"
height_mm = "105 cm" # by eye

[[line]]
name = "side"
kind = "geodesic"
points = [{ height_mm = 900, bearing_deg = 90 }, { landmark = "left chest" }]

[[line]]
name = "disc"
kind = "round"
centre = { xyz_mm = [0, -100, 1100] }
radius_mm = 40

[[patch]]
name = "belt"
lines = ["waist"]
inside = { height_mm = 1040, bearing_deg = 0 }
edges = { waist = { lap_mm = 12 } }
"""


def test_places_go_by_the_map_and_sheet_does_not() -> None:
    text = carried_rows(DESIGN, TWICE)
    settings = read_settings(text)
    waist, side, disc = settings.line
    assert waist.height_mm == 2100.0  # type: ignore[union-attr]
    assert side.points[0].height_mm == 1800.0  # type: ignore[union-attr]
    assert side.points[0].bearing_deg == 90.0  # type: ignore[union-attr]
    assert side.points[1].landmark == "left chest"  # type: ignore[union-attr]
    assert disc.centre.xyz_mm == pytest.approx((0, -200, 2200), abs=0.1)  # type: ignore[union-attr]
    assert disc.radius_mm == 80.0  # type: ignore[union-attr]
    assert settings.patch[0].inside.height_mm == 2080.0
    assert settings.patch[0].edges["waist"].lap_mm == 12.0
    assert settings.form.clearance_mm == 7.0
    for remark in ("# vest", "# where the belt sits", "# by eye"):
        assert remark in text


def test_a_design_joins_a_job_that_has_none() -> None:
    other = (
        'format = 1\n\n[job]\nname = "Crane" # ours\n\n[form]\nclearance_mm = 5\n\n'
        '[print]\npaper = "A3"\n'
    )
    joined = with_rows_of(other, DESIGN)
    settings = read_settings(joined)
    assert (settings.job.name, settings.print.paper) == ("Crane", "A3")
    assert settings.form.clearance_mm == 7.0
    assert [line.name for line in settings.line] == ["waist", "side", "disc"]
    assert "# ours" in joined
    with pytest.raises(JobError, match=r"line.* and .*patch"):
        with_rows_of(DESIGN, DESIGN)


def test_cuts_go_by_the_map_and_an_attachment_keeps_its_size() -> None:
    text = carried_rows(
        DESIGN
        + """cuts = [{ edge = { line = "waist" }, tip = { xyz_mm = [0, -100, 1100] } }]
no_cuts = [{ at = { height_mm = 1000, bearing_deg = 5 }, within_mm = 30 }]

[[attachment]]
name = "boss"
on = "belt"
at = { height_mm = 1040, bearing_deg = 0 }
kind = "dome"
across_mm = 60
height_mm = 20
""",
        TWICE,
    )
    settings = read_settings(text)
    (belt,) = settings.patch
    assert belt.cuts[0].tip.xyz_mm == pytest.approx((0.0, -200.0, 2200.0), abs=0.2)
    keep_out = belt.no_cuts[0]
    assert not isinstance(keep_out, str)
    assert keep_out.within_mm == pytest.approx(60.0)
    (boss,) = settings.attachment
    assert boss.at.height_mm == pytest.approx(2080.0, abs=0.2)
    assert (boss.across_mm, boss.height_mm) == (60.0, 20.0)
