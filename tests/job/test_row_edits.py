"""Rows are changed where they stand; renaming reaches all that names a line or a patch."""

from __future__ import annotations

from fitkit.job.row_edits import (
    with_changed_row,
    with_renamed_line,
    with_renamed_patch,
    without_correction,
)
from fitkit.job.settings_text import read_settings

TEXT = """\
format = 1

[job]
name = "Heron"

[[line]]
name = "waist"
kind = "level"
height_mm = 1000

[[line]]
name = "middle"
kind = "symmetry"

[[padding]]
name = "belt"
thickness_mm = 4
lines = ["waist", "middle"]
inside = { height_mm = 1010, bearing_deg = 20 }

# the front
[[patch]]
name = "plate"
lines = ["waist", "middle"]
inside = { height_mm = 1100, bearing_deg = 20 }
edges = { waist = { hem_mm = 6 } }
no_cuts = ["waist"]

[[attachment]]
name = "crest"
on = "plate"
at = { height_mm = 1100, bearing_deg = 20 }
kind = "cone"
across_mm = 40
height_mm = 60

[[correction]]
patch = "plate"
edges = [
    {line = "waist", moved_mm = [[0.0, 1.0, 0.0], [1.0, 1.0, 0.0]]},
]
"""


def test_a_lines_new_name_reaches_all_that_lean_on_it() -> None:
    text = with_renamed_line(TEXT, "waist", "belt line")
    settings = read_settings(text)
    (patch,), (padded,), (corrected,) = settings.patch, settings.padding, settings.correction
    assert patch.lines[0] == patch.no_cuts[0] == padded.lines[0] == "belt line"
    assert list(patch.edges) == ["belt line"]
    assert corrected.edges[0].line == "belt line"
    assert '"waist"' not in text
    assert "# the front" in text


def test_a_patchs_new_name_takes_its_attachments_and_corrections_along() -> None:
    settings = read_settings(with_renamed_patch(TEXT, "plate", "breast plate"))
    assert settings.attachment[0].on == settings.correction[0].patch == "breast plate"


def test_new_names_reach_what_swings_rides_and_shares_a_joint() -> None:
    text = (
        TEXT
        + """
[motion]
keep = ["plate"]

[motion.rides]
plate = "chest" # found wrong

[[pivot]]
patch = "plate"
joint = "neck"
at = { line = "waist", along = 0.5 }

[[lames]]
name = "cop"
of = ["plate"]
joint = "neck"
"""
    )
    renamed = with_renamed_line(with_renamed_patch(text, "plate", "breast plate"), "waist", "belt")
    settings = read_settings(renamed)
    (pivot,), (lames,) = settings.pivot, settings.lames
    assert (pivot.patch, pivot.at and pivot.at.line) == ("breast plate", "belt")
    assert lames.of == settings.motion.keep == list(settings.motion.rides) == ["breast plate"]


def test_what_was_corrected_goes_with_the_patch_it_was_corrected_on() -> None:
    assert read_settings(without_correction(TEXT, "plate", "other")).correction == []
    assert without_correction(TEXT, "other") == TEXT


def test_a_place_told_in_another_way_keeps_nothing_of_the_one_before() -> None:
    place = {"axis": "left arm", "along": 0.4, "bearing_deg": 20}
    text = with_changed_row(TEXT, "patch", "plate", {"inside": place}, whole=True)
    (patch,) = read_settings(text).patch
    assert (patch.inside.axis, patch.inside.along) == ("left arm", 0.4)
    assert patch.inside.height_mm is None
    assert "# the front\n[[patch]]" in text


def test_a_table_is_laid_over_the_one_there_and_a_value_of_none_goes() -> None:
    values = {"edges": {"middle": {"wire_mm": 3}}, "no_cuts": None, "seam": None}
    text = with_changed_row(TEXT, "patch", "plate", values)
    (patch,) = read_settings(text).patch
    assert set(patch.edges) == {"waist", "middle"}
    assert not patch.no_cuts
