"""What a sheet gives along and across its grain, and what that does to the blank."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatLine
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.forming_scale import forming_scale
from fitkit.flatten.sheet_demand import demand_on_sheet
from fitkit.flatten.sheet_limits import grain_direction, sheet_limits
from fitkit.materials.sheet_material import sheet_material_named
from tests.truth import solids

LEATHER = replace(
    sheet_material_named("leather"),
    stretch_limit=0.06,
    stretch_across_limit=0.12,
    shrink_limit=0.03,
    shrink_across_limit=0.05,
)
UP = np.array([0.0, 1.0])


def test_limit_is_each_own_along_and_across_and_an_ellipse_between() -> None:
    slant = np.array([np.sin(0.5), np.cos(0.5)])
    limits = sheet_limits(LEATHER, np.array([UP, [1.0, 0.0], slant]), UP)
    between = 1.0 / np.hypot(np.cos(0.5) / 0.06, np.sin(0.5) / 0.12)
    assert limits.stretch == pytest.approx([0.06, 0.12, between])
    across = 1.0 / np.hypot(np.sin(0.5) / 0.03, np.cos(0.5) / 0.05)
    assert limits.shrink == pytest.approx([0.05, 0.03, across])
    unknown = sheet_limits(LEATHER, np.array([UP, slant]), None)
    assert unknown.stretch.tolist() == [0.06, 0.06]
    assert unknown.shrink.tolist() == [0.03, 0.03]


def test_grain_is_read_off_its_line() -> None:
    lines = [FlatLine("waist", np.eye(2)), FlatLine("grain", np.array([[0.0, 0], [1, 1], [3, 4]]))]
    assert grain_direction(lines) == pytest.approx([0.6, 0.8])
    assert grain_direction(lines[:1]) is None


def test_soft_blank_uses_alike_what_the_sheet_gives_each_way() -> None:
    """Where the limits are alike all round it is the closed form of the extremes alone."""
    cap = solids.spherical_cap(100.0, 0.6, 6.0)
    flat = flatten_patch(solids.patch_of(cap, material="leather")).flat_mm
    size = forming_scale(cap, flat, "soft", LEATHER, grain=UP)
    again = flatten_patch(solids.patch_of(cap, material="leather"))
    stretch = again.stretch / size
    limits = sheet_limits(LEATHER, again.stretch_direction, UP)
    used = (
        (np.log(stretch[:, 0]) / np.log1p(limits.stretch)).max(),
        (np.log(stretch[:, 1]) / np.log1p(-limits.shrink)).max(),
    )
    assert used[0] == pytest.approx(used[1], rel=1e-9)


def test_plate_that_stretches_one_way_wants_its_grain_the_other() -> None:
    """8 % one way is all that leather gives along its grain, two thirds of what it does across."""
    sheet = solids.plane_rectangle(60.0, 60.0, 20.0)
    flat_mm = sheet.vertices[:, [0, 2]]
    design = solids.patch_of(sheet, material="leather").design
    count = len(sheet.faces)
    field = np.tile([1.08, 1.0], (count, 1)), np.tile([1.0, 0.0], (count, 1))
    over = [
        demand_on_sheet(design, sheet, flat_mm, field, grain).over
        for grain in (np.array([1.0, 0.0]), UP, None)
    ]
    assert over == pytest.approx([1.0, 0.08 / 0.12, 1.0])


def test_easing_overall_takes_less_on_the_whole_and_more_at_the_worst_spot() -> None:
    saddle = solids.saddle(60.0, 0.008, 5.0)
    worst, overall = (
        flatten_patch(solids.patch_of(saddle, material="aluminium", ease=ease))
        for ease in ("worst spot", "overall")
    )
    areas = saddle.face_areas_mm2()

    def usual(stretch: np.ndarray) -> float:
        return float(np.sqrt(np.average(np.square(stretch - 1.0).sum(axis=1), weights=areas)))

    assert usual(overall.stretch) < 0.95 * usual(worst.stretch)
    assert np.abs(overall.stretch - 1.0).max() > 1.2 * np.abs(worst.stretch - 1.0).max()
    (told,) = [f for f in overall.findings if f.code == "eased-overall"]
    assert told.number == pytest.approx(usual(overall.stretch) / np.sqrt(2.0), rel=1e-6)
    assert "eased-overall" not in {f.code for f in worst.findings}


def test_line_is_held_when_easing_overall_too() -> None:
    saddle = solids.saddle(60.0, 0.008, 5.0)
    flat = flatten_patch(
        solids.patch_of(saddle, material="aluminium", ease="overall", hold=("rim 1",))
    )
    (edge,) = [edge for edge in flat.outline if edge.line == "rim 1"]
    laid = np.linalg.norm(np.diff(edge.points_mm, axis=0), axis=1).sum()
    assert laid == pytest.approx(edge.formed_arc_mm[-1] - edge.formed_arc_mm[0], rel=1e-3)
