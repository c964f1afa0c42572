"""The grain of a patch as a line on it."""

from __future__ import annotations

from math import atan2, degrees, pi, radians

import numpy as np
import pytest

from fitkit.patch.cut_patches import cut_patches
from fitkit.patch.design import (
    GeodesicLine,
    Grain,
    HeightAnchor,
    LevelLine,
    PatchDesign,
    SymmetryLine,
)
from fitkit.patch.line_network import lay_tape_lines
from fitkit.patch.patch import Patch
from tests.patch.upright import cylinder_form

CYLINDER = cylinder_form()
LAID = lay_tape_lines(
    CYLINDER,
    (
        LevelLine("low", height_mm=100),
        LevelLine("high", height_mm=300),
        LevelLine("thin", height_mm=303),
        SymmetryLine("middle"),
        GeodesicLine("side", (HeightAnchor(80, pi / 2), HeightAnchor(320, pi / 2))),
        GeodesicLine("slant", (HeightAnchor(100, 0.4), HeightAnchor(220, 0.4 + 1.0))),
    ),
)


def cut(grain: Grain, lines: tuple[str, ...] = ("low", "high", "middle", "side")) -> Patch:
    design = PatchDesign("p", lines, HeightAnchor(0.5 * (300 + 3), 0.7), grain=grain)
    if "thin" in lines:
        design = PatchDesign("p", lines, HeightAnchor(301.5, 0.7), grain=grain)
    (patch,) = cut_patches(CYLINDER, LAID, [design])
    return patch


def unrolled(patch: Patch) -> np.ndarray:
    """(N, 2) float mm: the grain on the wall laid flat, seen from outside: right is to the left."""
    (line,) = (line for line in patch.inner_lines if line.line == "grain")
    x, y, z = patch.mesh.vertices[line.vertices].T
    return np.column_stack([100 * np.arctan2(x, -y), z])


@pytest.mark.parametrize(
    ("grain", "slope_deg"),
    [
        (Grain("up"), 90.0),
        (Grain("round"), 0.0),
        (Grain("up", radians(15)), 105.0),
        (Grain("slant"), degrees(atan2(120, 100))),
        (Grain("slant", radians(-90)), degrees(atan2(120, 100)) - 90),
    ],
)
def test_grain_runs_straight_the_way_it_is_told(grain: Grain, slope_deg: float) -> None:
    flat = unrolled(cut(grain))
    run, rise = flat[-1] - flat[0]
    off = (degrees(atan2(rise, run)) - slope_deg + 90) % 180 - 90
    assert abs(off) < 1.0
    across = (flat - flat[0]) @ np.array([-rise, run]) / np.hypot(run, rise)
    assert np.abs(across).max() < 0.2
    assert np.hypot(run, rise) > 60


def test_other_lines_and_patches_are_not_touched_by_it() -> None:
    plain = PatchDesign("p", ("low", "high", "middle", "side"), HeightAnchor(150, 0.7))
    grained = PatchDesign(
        "p", ("low", "high", "middle", "side"), HeightAnchor(150, 0.7), grain=Grain("up")
    )
    beside = PatchDesign("q", ("low", "high", "middle", "side"), HeightAnchor(150, 2.0))
    before = cut_patches(CYLINDER, LAID, [plain, beside])
    after = cut_patches(CYLINDER, LAID, [grained, beside])
    for one, other in zip(before, after, strict=True):
        assert other.mesh.area_mm2() == pytest.approx(one.mesh.area_mm2(), rel=1e-9)
        assert [e.line for e in other.loops[0]] == [e.line for e in one.loops[0]]
        assert [e.beside[0][2] for e in other.loops[0] if e.beside] == [
            e.beside[0][2] for e in one.loops[0] if e.beside
        ]
        assert not other.findings
    assert [line.line for line in after[1].inner_lines] == []
    assert sorted(line.line for line in after[0].inner_lines) == ["grain", "slant"]


def test_patch_too_narrow_for_its_grain_says_so() -> None:
    patch = cut(Grain("up"), ("high", "thin", "middle", "side"))
    assert [finding.code for finding in patch.findings] == ["grain-not-drawn"]
    assert patch.inner_lines == ()


def test_patch_told_by_a_place_alone_keeps_its_region() -> None:
    """The grain's line bounds nothing."""
    patch = cut(Grain("up"), ())
    (plain,) = cut_patches(CYLINDER, LAID, [PatchDesign("p", (), HeightAnchor(151.5, 0.7))])
    assert patch.mesh.area_mm2() == pytest.approx(plain.mesh.area_mm2(), rel=1e-9)


def test_anchor_amid_the_patch_is_not_disturbed_by_the_grain_through_it() -> None:
    design = PatchDesign(
        "p", ("low", "high", "middle", "side"), HeightAnchor(200, pi / 4), grain=Grain("up")
    )
    (patch,) = cut_patches(CYLINDER, LAID, [design])
    assert [line.line for line in patch.inner_lines if line.line == "grain"] == ["grain"]
