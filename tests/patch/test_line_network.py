"""Lines that lean on other lines: parallels, mirrored ones, ends on lines, and their order."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.geometry.surface_path import SurfacePath
from fitkit.patch.design import (
    AxisAnchor,
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    LineAnchor,
    MirroredLine,
    ParallelLine,
    PointAnchor,
    RoundLine,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.patch.form import Form
from fitkit.patch.line_network import lay_tape_lines, lines_below, unmirrored
from fitkit.patch.lined_form import line_the_form
from tests.patch.test_anchor import trunk_and_arm
from tests.patch.upright import cylinder_form, form_of
from tests.truth.solids import sphere

CYLINDER = cylinder_form()


def laid(form: Form, *designs: TapeLineDesign) -> dict[str, SurfacePath]:
    return {line.name: line.path for line in lay_tape_lines(form, designs)}


WAIST = LevelLine("waist", height_mm=150)


def test_parallel_of_a_level_on_a_cylinder_is_a_level() -> None:
    """Up the wall it is as far above as it is away."""
    paths = laid(
        CYLINDER,
        ParallelLine("above", "waist", 40.0, "up"),
        WAIST,
        ParallelLine("below", "waist", 25.0, "down"),
    )
    assert paths["above"].points_mm[:, 2] == pytest.approx(190, abs=1e-3)
    assert paths["below"].points_mm[:, 2] == pytest.approx(125, abs=1e-3)


def test_parallel_tells_left_from_right_and_in_from_out() -> None:
    upright = GeodesicLine("upright", (HeightAnchor(100, 0.0), HeightAnchor(300, 0.0)))
    window = ThroughLine(
        "window",
        tuple(HeightAnchor(200 + 50 * np.sin(t), 0.5 * np.cos(t)) for t in (0.0, 1.6, 3.1, 4.7)),
        closed=True,
    )
    paths = laid(
        CYLINDER,
        upright,
        window,
        ParallelLine("l", "upright", 20.0, "left"),
        ParallelLine("r", "upright", 20.0, "right"),
        ParallelLine("i", "window", 12.0, "in"),
        ParallelLine("o", "window", 12.0, "out"),
    )
    assert paths["l"].points_mm[:, 0].min() > 15
    assert paths["r"].points_mm[:, 0].max() < -15
    assert paths["i"].length_mm() < paths["window"].length_mm() < paths["o"].length_mm()
    # On the unrolled wall a closed convex curve's parallel differs by 2 pi d.
    assert paths["o"].length_mm() - paths["window"].length_mm() == pytest.approx(
        2 * pi * 12, rel=5e-3
    )


@pytest.mark.parametrize(
    ("design", "cause"),
    [
        (ParallelLine("p", "waist", 10.0, "left"), "Neither side of the line 'waist'"),
        (ParallelLine("p", "side", 10.0, "in"), "which does not close"),
        (ParallelLine("p", "waist", 0.0, "up"), "0 mm from the line 'waist'"),
        (ParallelLine("p", "belt", 10.0, "up"), "leans on the line 'belt', which is not drawn"),
        (RoundLine("p", HeightAnchor(100, 0), -1.0), "radius of -1 mm"),
        (
            RoundLine("p", HeightAnchor(100, 0), 330.0),
            r"comes back on itself.*It fails at height .* mm, bearing",
        ),
        (
            GeodesicLine("p", (HeightAnchor(100, 0), PointAnchor(0, -400, 200))),
            "300 mm off the form, which is nearest at height 200.0 mm, bearing 0 degrees",
        ),
        (
            GeodesicLine("p", (LineAnchor("waist"), LineAnchor("side"))),
            "has no anchor beside it to be nearest to",
        ),
        (
            GeodesicLine("p", (LineAnchor("waist", crossing="side"), HeightAnchor(300, 1))),
            "'waist' and 'side' do not meet",
        ),
    ],
)
def test_line_at_fault_is_named(design: TapeLineDesign, cause: str) -> None:
    side = GeodesicLine("side", (HeightAnchor(200, 1.0), HeightAnchor(300, 1.0)))
    with pytest.raises(DesignError, match=cause) as caught:
        laid(CYLINDER, WAIST, side, design)
    assert "'p'" in caught.value.cause
    assert caught.value.remedy


def test_lines_in_a_ring_are_refused() -> None:
    with pytest.raises(DesignError, match="'a' -> 'b' -> 'a' lean on each other"):
        laid(CYLINDER, ParallelLine("a", "b", 5.0, "up"), MirroredLine("b", "a"))


def test_line_ends_on_another_in_one_common_point() -> None:
    """A T: the end is a vertex of the other line, whichever way it is told."""
    designs = (
        WAIST,
        SymmetryLine("middle"),
        GeodesicLine("nearest", (HeightAnchor(300, 1.0), LineAnchor("waist"))),
        GeodesicLine("share", (LineAnchor("waist", along=0.25), HeightAnchor(300, 2.0))),
        GeodesicLine("corner", (LineAnchor("waist", crossing="middle"), HeightAnchor(300, 0.5))),
    )
    lines = lay_tape_lines(CYLINDER, designs)
    lined = line_the_form(CYLINDER.mesh, lines)
    for name, end in (("nearest", -1), ("share", 0), ("corner", 0)):
        assert lined.chains[name][end] in lined.chains["waist"]
    ends = {name: lined.mesh.vertices[lined.chains[name][0]] for name in ("share", "corner")}
    # A quarter of the way round from the front, towards the left.
    assert ends["share"] == pytest.approx([100, 0, 150], abs=0.6)
    assert ends["corner"] == pytest.approx([0, -100, 150], abs=0.6)
    foot = lined.mesh.vertices[lined.chains["nearest"][-1]]
    assert np.arctan2(foot[0], -foot[1]) == pytest.approx(1.0, abs=0.01)


def test_mirrored_line_is_the_mirror_image_on_a_symmetric_form() -> None:
    """Anchors of every kind change sides; what leans on another line leans on its mirror."""
    form = form_of(sphere(150, 9), **{"left hip": (150, 0, -20), "right hip": (-150, 0, -20)})
    designs = (
        GeodesicLine("side", (LandmarkAnchor("left hip"), HeightAnchor(60.0, 0.7))),
        ThroughLine(
            "curve",
            (PointAnchor(60, -137, 0), HeightAnchor(40, 1.0), LineAnchor("side")),
        ),
        ParallelLine("edge", "side", 20.0, "up"),
        MirroredLine("side r", "side"),
        MirroredLine("curve r", "curve"),
        MirroredLine("edge r", "edge"),
        MirroredLine("side again", "side r"),
    )
    paths = laid(form, *designs)
    for name in ("side", "curve", "edge"):
        here, there = paths[name].points_mm, paths[f"{name} r"].points_mm
        assert there[[0, -1]] == pytest.approx(here[[0, -1]] * [-1, 1, 1], abs=0.3)
        assert paths[f"{name} r"].length_mm() == pytest.approx(paths[name].length_mm(), rel=2e-3)
    again, once = paths["side again"].points_mm, paths["side"].points_mm
    assert again == pytest.approx(once, abs=1e-6)


def test_mirrored_line_that_leans_on_an_unmirrored_one_says_what_to_add() -> None:
    designs = (
        GeodesicLine("side", (HeightAnchor(150, 1.0), HeightAnchor(300, 1.0))),
        GeodesicLine("dart", (HeightAnchor(200, 0.3), LineAnchor("side", along=0.5))),
        MirroredLine("dart r", "dart"),
    )
    with pytest.raises(DesignError, match="'side' has no mirrored one yet") as caught:
        laid(CYLINDER, *designs)
    assert 'of = "side"' in caught.value.remedy


def test_limbs_change_sides() -> None:
    design = LevelLine("cuff", axis="left arm", along=0.5)
    lines = {"cuff": design, "other": MirroredLine("other", "cuff")}
    mirrored = unmirrored(lines["other"], lines)
    assert mirrored == LevelLine("other", axis="right arm", along=0.5)
    ray = GeodesicLine("g", (AxisAnchor("left arm", 0.5, 0.4), AxisAnchor("left arm", 0.9, 0.4)))
    mirrored = unmirrored(MirroredLine("h", "g"), {"g": ray})
    assert isinstance(mirrored, GeodesicLine)
    assert mirrored.through[0] == AxisAnchor("right arm", 0.5, pytest.approx(2 * pi - 0.4))


def test_kept_lines_are_taken_as_they_are() -> None:
    designs = (WAIST, ParallelLine("above", "waist", 40.0, "up"))
    first = {line.name: line for line in lay_tape_lines(CYLINDER, designs)}
    again = lay_tape_lines(CYLINDER, designs, kept={"waist": first["waist"]})
    assert again[0] is first["waist"]
    assert again[1] is not first["above"]
    assert [d.name for d in lines_below("above", designs)] == ["waist", "above"]


def test_level_and_middle_start_where_the_maker_counts_from() -> None:
    """A level at the front, going to the left, on a limb too; the middle at the top, down front."""
    paths = laid(CYLINDER, WAIST, SymmetryLine("middle"))
    assert paths["waist"].points_mm[0] == pytest.approx([0, -100, 150], abs=0.6)
    assert paths["waist"].point_at(50.0).point_mm[0] > 40
    assert paths["middle"].points_mm[0] == pytest.approx([0, 0, 400], abs=1e-6)
    assert paths["middle"].point_at(150.0).point_mm[1] == pytest.approx(-100, abs=0.6)
    arm = laid(trunk_and_arm(20.0), LevelLine("cuff", axis="left arm", along=0.5))["cuff"]
    middle = 0.5 * (arm.points_mm.min(axis=0) + arm.points_mm.max(axis=0))
    assert arm.points_mm[0] - middle == pytest.approx([0, -30, 0], abs=1.0)
    assert arm.point_at(0.25 * arm.length_mm()).point_mm[0] > middle[0] + 25
    assert arm.length_mm() == pytest.approx(2 * pi * 30, rel=0.02)


def open_form() -> Form:
    """Return a cylinder without its top and with a hole of about 50 mm in its front."""
    mesh = CYLINDER.mesh
    middles = mesh.corners.mean(axis=1)
    hole = (np.abs(middles[:, 2] - 200) < 50) & (np.abs(middles[:, 0]) < 50) & (middles[:, 1] < 0)
    return Form(mesh.faces_only((middles[:, 2] < 399) & ~hole)[0], 0.0, CYLINDER.body)


@pytest.mark.parametrize(
    ("design", "cause"),
    [
        (LevelLine("x", height_mm=200), "'x' runs into a hole or over the rim at height 200"),
        (
            GeodesicLine("x", (HeightAnchor(100, 0.0), HeightAnchor(300, 0.0))),
            r"'x' cannot be laid: It runs into a hole.*It fails at height \d+",
        ),
        (
            ThroughLine(
                "x", (HeightAnchor(100, 0.1), HeightAnchor(120, 0.0), HeightAnchor(300, 0.1))
            ),
            r"'x' cannot be laid: It runs into a hole.*It fails at height \d+",
        ),
        (RoundLine("x", HeightAnchor(100, 0), 80.0), r"runs off the surface.*It fails at height"),
        (ParallelLine("x", "low", 80.0, "up"), r"runs off the surface.*It fails at height 1[45]"),
        (SymmetryLine("x"), "'x' is interrupted by a hole at"),
    ],
)
def test_line_through_a_hole_is_refused_with_the_place(design: TapeLineDesign, cause: str) -> None:
    with pytest.raises(DesignError, match=cause):
        laid(open_form(), LevelLine("low", height_mm=100), design)


def test_lines_of_an_open_form_may_end_at_its_rim() -> None:
    mesh = CYLINDER.mesh
    form = Form(mesh.faces_only(mesh.corners[:, :, 2].mean(axis=1) < 399)[0], 0.0, CYLINDER.body)
    middle = laid(form, SymmetryLine("middle"))["middle"]
    assert not middle.closed
    assert middle.points_mm[[0, -1], 2] == pytest.approx([400, 400], abs=1e-6)
    assert middle.points_mm[0, 1] < 0
    assert middle.length_mm() == pytest.approx(2 * 400 + 2 * 100, rel=2e-3)
