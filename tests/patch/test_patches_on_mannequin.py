"""Real patches on the mannequin, whose two halves mirror each other."""

from __future__ import annotations

from functools import lru_cache
from math import radians

import numpy as np
import pytest

from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.geometry.topology import euler_characteristic
from fitkit.patch.cut_patches import cut_patches
from fitkit.patch.design import (
    AxisAnchor,
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    PatchDesign,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.patch.form import Form, grow_form
from fitkit.patch.patch import Patch
from fitkit.patch.tape_line import lay_tape_line
from tests.truth.mannequin import mannequin

pytestmark = pytest.mark.slow


def lines_of(side: str) -> tuple[TapeLineDesign, ...]:
    out = radians(90 if side == "left" else -90)

    def at(height: float, share: float) -> HeightAnchor:
        return HeightAnchor(height, out * share)

    def on_arm(along: float, share: float) -> AxisAnchor:
        return AxisAnchor(f"{side} arm", along, out * share)

    shoulder, armpit = LandmarkAnchor(f"{side} shoulder"), LandmarkAnchor(f"{side} armpit")
    return (
        GeodesicLine(f"{side} side", (at(1060, 1), armpit, on_arm(0.55, -1.1))),
        ThroughLine(
            f"{side} armhole", (shoulder, at(1310, 0.72), armpit, at(1310, 1.31)), closed=True
        ),
        GeodesicLine(f"{side} shoulder", (LandmarkAnchor(f"{side} neck"), shoulder)),
        LevelLine(f"{side} arm top", axis=f"{side} arm", along=0.6),
        LevelLine(f"{side} arm low", axis=f"{side} arm", along=0.85),
        GeodesicLine(f"{side} arm seam", (on_arm(0.56, -1), on_arm(0.92, -1))),
    )


MIDDLE: tuple[TapeLineDesign, ...] = (
    SymmetryLine("middle"),
    LevelLine("waist", height_mm=1080, tilt_rad=radians(4)),
    ThroughLine(
        "neckline",
        tuple(LandmarkAnchor(f"{where} neck") for where in ("front", "left", "back", "right")),
        closed=True,
    ),
    LevelLine("collar", axis="neck", along=0.3),
)


def designs_of(side: str) -> tuple[PatchDesign, ...]:
    out = radians(90 if side == "left" else -90)
    body = ("middle", "waist", f"{side} side", f"{side} armhole", f"{side} shoulder", "neckline")
    return (
        PatchDesign("breast", body, HeightAnchor(1200, out / 3)),
        PatchDesign("back", body, HeightAnchor(1200, 5 * out / 3)),
        PatchDesign(
            "cap", (f"{side} armhole", f"{side} arm top"), AxisAnchor(f"{side} arm", 0.3, out)
        ),
        PatchDesign(
            "upper arm",
            (f"{side} arm top", f"{side} arm low"),
            AxisAnchor(f"{side} arm", 0.7, 0.0),
            seams=(f"{side} arm seam",),
        ),
    )


@lru_cache(maxsize=1)
def patches() -> dict[str, tuple[Patch, ...]]:
    form: Form = grow_form(body_of_mesh(mannequin()), clearance_mm=8.0, cell_mm=6.0)
    designs = (*MIDDLE, *lines_of("left"), *lines_of("right"))
    lines = [lay_tape_line(form, design) for design in designs]
    gorget = PatchDesign(
        "gorget", ("collar", "neckline"), AxisAnchor("neck", 0.7, 0.0), seams=("middle",)
    )
    cut = cut_patches(form, lines, [*designs_of("left"), *designs_of("right"), gorget])
    return {"left": cut[:4], "right": cut[4:8], "middle": cut[8:]}


def test_plates_of_both_sides_mirror_each_other() -> None:
    """Area within 0.2 %: the form's own mesh is not mirrored, its surface is."""
    for left, right in zip(patches()["left"], patches()["right"], strict=True):
        assert left.mesh.area_mm2() == pytest.approx(right.mesh.area_mm2(), rel=2e-3)
        swap = {"left": "right", "right": "left"}
        names = [
            {" ".join(swap.get(w, w) for w in e.line.split()) for e in loop} for loop in left.loops
        ]
        assert names == [{e.line for e in loop} for loop in right.loops]


def test_plates_have_the_borders_that_were_drawn() -> None:
    breast, back, cap, upper_arm = patches()["left"]
    for patch in (breast, back):
        assert sorted(e.line for e in patch.loops[0]) == sorted(patch.design.boundary)
        assert euler_characteristic(patch.mesh) == 1
    for patch in (cap, upper_arm, *patches()["middle"]):
        assert [len(loop) for loop in patch.loops] == [1, 1]
        assert euler_characteristic(patch.mesh) == 0
    assert not any(patch.findings for group in patches().values() for patch in group)


def test_neighbouring_plates_share_their_edge() -> None:
    """The same line bounds breast and back, and cap and upper arm: equal lengths."""
    breast, back, cap, upper_arm = patches()["left"]

    def length(patch: Patch, line: str) -> float:
        return sum(
            float(np.linalg.norm(np.diff(patch.mesh.vertices[e.vertices], axis=0), axis=1).sum())
            for loop in patch.loops
            for e in loop
            if e.line == line
        )

    for line in ("left side", "left shoulder"):
        assert length(breast, line) == pytest.approx(length(back, line), rel=1e-9)
    assert length(cap, "left arm top") == pytest.approx(length(upper_arm, "left arm top"), rel=1e-9)
    both = length(breast, "left armhole") + length(back, "left armhole")
    assert length(cap, "left armhole") == pytest.approx(both, rel=1e-9)


def test_seams_come_first() -> None:
    (gorget,) = patches()["middle"]
    assert gorget.inner_lines[0].line == "middle"
    assert patches()["left"][3].inner_lines[0].line == "left arm seam"
