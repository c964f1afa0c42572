from __future__ import annotations

import pytest

from fitkit.errors import JobError
from fitkit.job.fitted_pair_rows import with_fitted_pair
from fitkit.job.settings_text import read_settings

JOB = """\
format = 1
[job]
name = "Heron"

[[line]]
name = "middle" # front and back
kind = "symmetry"

[[line]]
name = "waist"
kind = "level"
height_mm = 1075

[[line]]
name = "left side"
kind = "geodesic"
points = [{ height_mm = 1060, bearing_deg = 95 }, { landmark = "left armpit" }]

[[line]]
name = "scallop"
kind = "through"
points = [
    { height_mm = 1190, bearing_deg = 0 },
    { axis = "left arm", along = 0.1, bearing_deg = 30 },
]

[[patch]]
name = "breast plate"
lines = ["middle", "waist", "left side", "scallop"]
inside = { xyz_mm = [60, -120, 1120] }
side = "left"
pair = true
thickness_mm = 1.2
edges = { "left side" = { lap_mm = 15 } }
note = "Polish."

[[patch]]
name = "belt"
lines = ["waist"]
inside = { height_mm = 1000, bearing_deg = 0 }
"""


def test_a_pair_is_parted_into_two_patches_mirrored_word_by_word() -> None:
    text, other = with_fitted_pair(JOB, "breast plate")
    settings = read_settings(text)
    assert other == "breast plate fitted"
    drawn, _, fitted = settings.patch
    assert (drawn.pair, drawn.side) == (False, "left")
    assert (fitted.name, fitted.pair, fitted.side) == (other, False, "right")
    assert fitted.lines == ["middle", "waist", "right side", "scallop, other side"]
    assert fitted.inside.xyz_mm == (-60, -120, 1120)
    assert fitted.edges["right side"].lap_mm == 15
    assert (fitted.thickness_mm, fitted.note) == (1.2, "Polish.")
    added = {line.name: line for line in settings.line[-2:]}
    assert added["right side"].of == "left side"  # type: ignore[union-attr]
    assert added["scallop, other side"].of == "scallop"  # type: ignore[union-attr]
    assert "# front and back" in text


def test_what_is_no_pair_is_refused() -> None:
    with pytest.raises(JobError, match="'belt' is not made in a pair") as caught:
        with_fitted_pair(JOB, "belt")
    assert "'breast plate'" in caught.value.remedy
    with pytest.raises(JobError, match="no patch called 'helm'"):
        with_fitted_pair(JOB, "helm")
