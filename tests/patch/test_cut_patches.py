"""Patches cut from solids whose pieces have known areas."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.findings import Severity
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_cut import cut_along
from fitkit.geometry.topology import boundary_loops, euler_characteristic
from fitkit.patch.cut_patches import cut_patches
from fitkit.patch.design import (
    GeodesicLine,
    HeightAnchor,
    LevelLine,
    PatchDesign,
    PointAnchor,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.patch.form import Form
from fitkit.patch.patch import Patch, PatchEdge
from fitkit.patch.tape_line import TapeLine, lay_tape_line
from tests.patch.upright import cylinder_form, form_of, sphere_form
from tests.truth.solids import sphere, torus

CYLINDER = cylinder_form()
LOW, HIGH = 100.3, 300.7
RIGHT, LEFT = radians(-50), radians(40)
FRONT = HeightAnchor(200.0, 0.0)
LEVELS = (LevelLine("low", height_mm=LOW), LevelLine("high", height_mm=HIGH))


def upright_line(
    name: str, bearing: float, start: float = 80.0, end: float = 320.0
) -> GeodesicLine:
    return GeodesicLine(name, (HeightAnchor(start, bearing), HeightAnchor(end, bearing)))


SIDES = (upright_line("left", LEFT), upright_line("right", RIGHT))
BREAST = PatchDesign("breast", ("low", "high", "left", "right"), FRONT)


def cut(form: Form, lines: tuple[TapeLineDesign, ...], *designs: PatchDesign) -> tuple[Patch, ...]:
    return cut_patches(form, [lay_tape_line(form, line) for line in lines], designs)


def assert_whole(patch: Patch) -> None:
    """Loops join end to end with the patch on their left, and are all of its border."""
    borders = {frozenset(loop.tolist()) for loop in boundary_loops(patch.mesh)}
    assert {
        frozenset(v for e in loop for v in e.vertices.tolist()) for loop in patch.loops
    } == borders
    edges = {
        (a, b) for f in patch.mesh.faces.tolist() for a, b in zip(f, f[1:] + f[:1], strict=True)
    }
    for loop in patch.loops:
        for edge, following in zip(loop, [*loop[1:], loop[0]], strict=True):
            assert edge.vertices[-1] == following.vertices[0]
            steps = list(zip(edge.vertices[:-1].tolist(), edge.vertices[1:].tolist(), strict=True))
            assert set(steps) <= edges
            assert not {(b, a) for a, b in steps} & edges
    for line in patch.inner_lines:
        for a, b in zip(line.vertices[:-1].tolist(), line.vertices[1:].tolist(), strict=True):
            assert {(a, b), (b, a)} <= edges


def line_names(patch: Patch) -> list[list[str]]:
    return [[edge.line for edge in loop] for loop in patch.loops]


def length_mm(patch: Patch, edge: PatchEdge) -> float:
    return float(np.linalg.norm(np.diff(patch.mesh.vertices[edge.vertices], axis=0), axis=1).sum())


def test_four_lines_on_a_cylinder_cut_a_panel() -> None:
    """Area = height times arc; on the mesh exactly height times the polygon's arc."""
    (patch,) = cut(CYLINDER, (*LEVELS, *SIDES), BREAST)
    assert_whole(patch)
    assert line_names(patch) == [["low", "left", "high", "right"]]
    low, left, high, right = patch.loops[0]
    assert length_mm(patch, left) == pytest.approx(HIGH - LOW, abs=1e-6)
    assert length_mm(patch, low) == pytest.approx(length_mm(patch, high), abs=1e-6)
    assert length_mm(patch, low) == pytest.approx(100 * (LEFT - RIGHT), rel=1e-3)
    assert patch.mesh.area_mm2() == pytest.approx((HIGH - LOW) * length_mm(patch, low), rel=1e-9)
    assert length_mm(patch, right) == pytest.approx(HIGH - LOW, abs=1e-6)
    assert patch.inner_lines == ()
    assert patch.findings == ()


def test_three_great_circles_cut_an_octant() -> None:
    """Area pi R^2 / 2, sides pi R / 2 (closed form); the mesh is short by its own chord error."""
    form = sphere_form(200, 8)
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    lines = [
        TapeLine(f"circle {k}", plane_sections(form.mesh, np.zeros(3), axis)[0])
        for k, axis in enumerate(turn)
    ]
    inside = PointAnchor(*(200 * turn.sum(axis=0) / np.sqrt(3)))
    (patch,) = cut_patches(
        form, lines, [PatchDesign("octant", ("circle 0", "circle 1", "circle 2"), inside)]
    )
    assert_whole(patch)
    assert patch.mesh.area_mm2() == pytest.approx(pi * 200**2 / 2, rel=1e-3)
    assert [length_mm(patch, e) for e in patch.loops[0]] == pytest.approx([100 * pi] * 3, rel=1e-3)


def test_patches_of_a_form_add_up_to_it() -> None:
    lines = (LevelLine("low", height_mm=100), LevelLine("high", height_mm=250), SymmetryLine("mid"))
    designs = [
        PatchDesign(f"{height} {bearing}", boundary, HeightAnchor(height, bearing))
        for height, boundary in (
            (50.0, ("low", "mid")),
            (175.0, ("low", "high", "mid")),
            (325.0, ("high", "mid")),
        )
        for bearing in (1.0, -1.0)
    ]
    patches = cut(CYLINDER, lines, *designs)
    assert sum(p.mesh.area_mm2() for p in patches) == pytest.approx(
        CYLINDER.mesh.area_mm2(), rel=1e-9
    )


def test_line_on_both_ends_of_a_patch_gives_two_edges() -> None:
    (half,) = cut(
        CYLINDER,
        (*LEVELS, SymmetryLine("middle")),
        PatchDesign("left half", ("low", "high", "middle"), HeightAnchor(200, pi / 2)),
    )
    assert line_names(half) == [["low", "middle", "high", "middle"]]


def test_tails_inside_are_drawn_lines_and_not_border() -> None:
    """The left line runs on past the upper one; in the patch above it is only a tail."""
    lines = (*LEVELS, *SIDES, LevelLine("top", height_mm=380))
    breast, neck = cut(
        CYLINDER, lines, BREAST, PatchDesign("neck", ("high", "top"), HeightAnchor(340, 0.0))
    )
    assert_whole(neck)
    assert line_names(neck) == [["top"], ["high"]] or line_names(neck) == [["high"], ["top"]]
    tails = {line.line: neck.mesh.vertices[line.vertices] for line in neck.inner_lines}
    assert set(tails) == {"left", "right"}
    for tail in tails.values():
        assert sorted(tail[[0, -1], 2]) == pytest.approx([HIGH, 320], abs=1e-6)
    assert breast.inner_lines == ()


def test_boundary_line_that_overshoots_into_the_patch_is_border_only_where_it_bounds() -> None:
    """A bent boundary line whose end comes back inside leaves a tail in the patch itself."""
    bent = GeodesicLine(
        "left", (HeightAnchor(80, LEFT), HeightAnchor(320, LEFT), HeightAnchor(250, 0.0))
    )
    (patch,) = cut(CYLINDER, (*LEVELS, bent, SIDES[1]), BREAST)
    assert_whole(patch)
    assert line_names(patch) == [["low", "left", "high", "right"]]
    assert [line.line for line in patch.inner_lines] == ["left"]
    assert patch.mesh.area_mm2() == pytest.approx((HIGH - LOW) * 100 * (LEFT - RIGHT), rel=2e-3)


def test_neighbours_are_marked_where_other_lines_meet_the_border() -> None:
    lines = (
        *LEVELS,
        *SIDES,
        SymmetryLine("middle"),
        upright_line("dart", 0.3, 200, 340),
        GeodesicLine("belt", (HeightAnchor(200, LEFT), HeightAnchor(200, 2.0))),
    )
    (patch,) = cut(CYLINDER, lines, BREAST)
    low, left, high, right = patch.loops[0]

    def at(edge: PatchEdge, line: str) -> list[np.ndarray]:
        return [
            patch.mesh.vertices[edge.vertices[i]] for i, name in edge.neighbours if name == line
        ]

    assert at(low, "middle")[0] == pytest.approx([0, at(low, "middle")[0][1], LOW], abs=1e-6)
    assert len(at(high, "dart")) == 1
    assert at(left, "belt")[0][2] == pytest.approx(200, abs=1e-3)
    assert [name for _, name in right.neighbours] == ["high", "low"]
    assert sorted(line.line for line in patch.inner_lines) == ["dart", "middle"]


SLEEVE = PatchDesign("sleeve", ("low", "high"), FRONT)


def test_sleeve_has_two_rims_and_its_seam_first() -> None:
    lines = (*LEVELS, upright_line("slit", 2.0, 80, 200), upright_line("back seam", 2.8))
    (patch,) = cut(
        CYLINDER, lines, PatchDesign("sleeve", ("low", "high"), FRONT, seams=("back seam",))
    )
    assert_whole(patch)
    assert euler_characteristic(patch.mesh) == 0
    assert len(patch.loops) == 2
    assert [line.line for line in patch.inner_lines] == ["back seam", "slit"]
    opened, _ = cut_along(patch.mesh, patch.inner_lines[0].vertices)
    assert euler_characteristic(opened) == 1
    for (edge,) in patch.loops:
        assert edge.vertices[0] == edge.vertices[-1]
        # A whole round begins where the seam meets it.
        assert edge.vertices[0] in patch.inner_lines[0].vertices[[0, -1]]
        assert length_mm(patch, edge) == pytest.approx(2 * pi * 100, rel=1e-3)


def test_of_a_line_that_crosses_twice_the_shorter_stretch_is_the_seam() -> None:
    form = form_of(
        CYLINDER.mesh.with_vertices(
            CYLINDER.mesh.vertices
            + np.outer(np.sin(CYLINDER.mesh.vertices[:, 2] / 400 * pi), [0, 30.0, 0])
            * (CYLINDER.mesh.vertices[:, 1:2] > 0)
        )
    )
    (patch,) = cut(
        form,
        (*LEVELS, SymmetryLine("middle")),
        PatchDesign("sleeve", ("low", "high"), FRONT, seams=("middle",)),
    )
    seam, other = patch.inner_lines
    assert (
        patch.mesh.vertices[seam.vertices, 1].max()
        < 0
        < patch.mesh.vertices[other.vertices, 1].min()
    )


@pytest.mark.parametrize(
    "seam", [upright_line("seam", 2.8, 150, 320), upright_line("seam", 2.8, 320, 380)]
)
def test_seam_that_does_not_reach_both_rims_is_refused(seam: GeodesicLine) -> None:
    with pytest.raises(DesignError, match="'seam' of the patch 'sleeve' does not run from one"):
        cut(
            CYLINDER,
            (*LEVELS, seam),
            PatchDesign("sleeve", ("low", "high"), FRONT, seams=("seam",)),
        )


def test_seam_of_a_patch_with_one_border_is_noted() -> None:
    design = PatchDesign("breast", BREAST.boundary, FRONT, seams=("middle",))
    (patch,) = cut(CYLINDER, (*LEVELS, *SIDES, SymmetryLine("middle")), design)
    assert [(f.code, f.severity) for f in patch.findings] == [("seam-without-use", Severity.NOTE)]


def test_line_that_stops_short_is_named_with_its_gap() -> None:
    lines = (*LEVELS, SIDES[0], upright_line("right", RIGHT, 80, HIGH - 12.5))
    with pytest.raises(DesignError) as caught:
        cut(CYLINDER, lines, BREAST)
    assert "'breast' is not closed: the line 'right' ends 12.5 mm short of the line 'high'" in (
        caught.value.cause
    )
    assert caught.value.remedy == (
        "Make the line 'right' longer so that it crosses the line 'high'."
    )


def test_line_that_meets_nothing_is_named() -> None:
    lines = (*LEVELS, SIDES[0], upright_line("right", RIGHT, LOW + 30, HIGH - 7.0))
    with pytest.raises(DesignError, match=r"'right' ends 7\.0 mm short of the line 'high'"):
        cut(CYLINDER, lines, BREAST)


def test_line_the_patch_never_reaches_is_named() -> None:
    lines = (*LEVELS, LevelLine("top", height_mm=380))
    design = PatchDesign("sleeve", ("low", "high", "top"), FRONT)
    with pytest.raises(DesignError, match="'sleeve' has no edge along 'top'"):
        cut(CYLINDER, lines, design)
    # A cut lengthwise is no border of a sleeve: the region lies on both sides of it.
    slit = PatchDesign("sleeve", ("low", "high", "left"), FRONT)
    with pytest.raises(DesignError, match="no edge along 'left'") as caught:
        cut(CYLINDER, (*LEVELS, *SIDES), slit)
    assert "seam" in caught.value.remedy


@pytest.mark.parametrize(
    ("design", "cause"),
    [
        (PatchDesign("p", ("low", "hihg"), FRONT), "names the line 'hihg', which does not exist"),
        (PatchDesign("p", ("low",), FRONT, seams=("zip",)), "names the line 'zip'"),
        (PatchDesign("p", ("low",), HeightAnchor(LOW, 0.3)), "lies on its boundary line 'low'"),
        (PatchDesign("p", ("low",), HeightAnchor(999, 0.3)), "Inside the patch 'p'"),
    ],
)
def test_design_at_fault_is_named(design: PatchDesign, cause: str) -> None:
    with pytest.raises(DesignError, match=cause) as caught:
        cut(CYLINDER, LEVELS, design)
    assert caught.value.remedy


def test_patch_without_any_line_is_refused() -> None:
    with pytest.raises(DesignError, match="'p' has no tape lines round it"):
        cut(CYLINDER, (), PatchDesign("p", (), FRONT))


def test_two_lines_of_one_name_are_refused() -> None:
    with pytest.raises(DesignError, match="Two tape lines are called 'low'"):
        cut(CYLINDER, (LEVELS[0], LEVELS[0]), PatchDesign("p", ("low",), FRONT))


def test_lines_of_another_form_are_refused() -> None:
    lines = [lay_tape_line(CYLINDER, line) for line in LEVELS]
    with pytest.raises(DesignError, match="cannot be put on this form"):
        cut_patches(cylinder_form(120.0), lines, [SLEEVE])


def test_patch_over_the_rim_of_an_open_form_is_refused() -> None:
    mesh = CYLINDER.mesh
    open_mesh, _ = mesh.faces_only(mesh.corners[:, :, 2].mean(axis=1) < 399)
    form = Form(open_mesh, 0.0, CYLINDER.body)
    lines = [lay_tape_line(form, LEVELS[1])]
    with pytest.raises(DesignError, match="'top' runs over an edge of the form"):
        cut_patches(form, lines, [PatchDesign("top", ("high",), HeightAnchor(350, 0.0))])


def test_tube_with_a_window_has_three_borders() -> None:
    lines = (
        LevelLine("low", height_mm=100),
        LevelLine("high", height_mm=300),
        ThroughLine(
            "window",
            tuple(HeightAnchor(200 + 30 * np.sin(t), 0.3 * np.cos(t)) for t in (0, 1.6, 3.1, 4.7)),
            closed=True,
        ),
    )
    design = PatchDesign("tube", ("low", "high", "window"), HeightAnchor(200, pi))
    tube, pane = cut(CYLINDER, lines, design, PatchDesign("pane", ("window",), FRONT))
    assert_whole(tube)
    assert tube.findings == ()
    assert len(tube.loops) == 3
    assert pane.findings == ()
    assert len(pane.loops) == 1


def test_patch_round_a_handle_is_stopped() -> None:
    mesh = torus(100, 40, 12)
    form = form_of(mesh)
    (path,) = plane_sections(mesh, np.array([130.0, 0, 0]), np.array([1.0, 0, 0]))
    (patch,) = cut_patches(
        form,
        [TapeLine("oval", path)],
        [PatchDesign("ring", ("oval",), PointAnchor(-140, 0, 0))],
    )
    assert "patch-with-handle" in [f.code for f in patch.findings]


def test_patch_that_touches_itself_in_a_point_is_parted_there() -> None:
    """Two rounds that touch: the border runs through the common vertex once per side."""
    mesh = sphere(100, 15)
    first = plane_sections(mesh, np.array([0, 0, 0.0]), np.array([1.0, 0, 0]))[0]
    second = plane_sections(mesh, np.array([0, 0, 0.0]), np.array([0, 1.0, 0]))[0]
    form = form_of(mesh)
    lines = [TapeLine("a", first), TapeLine("b", second)]
    (quarter,) = cut_patches(form, lines, [PatchDesign("q", ("a", "b"), PointAnchor(70, 70, 5))])
    assert_whole(quarter)
    assert quarter.mesh.area_mm2() == pytest.approx(pi * 100**2, rel=0.01)
    assert line_names(quarter) == [["a", "b"]]


def test_patch_moves_with_the_form() -> None:
    """Rigid shift and quarter turn about the vertical: same area, same edges."""
    turn = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    moved = form_of(TriangleMesh(CYLINDER.mesh.vertices @ turn.T, CYLINDER.mesh.faces))
    here = cut(CYLINDER, (*LEVELS, *SIDES), BREAST)[0]
    sides = (upright_line("left", LEFT + pi / 2), upright_line("right", RIGHT + pi / 2))
    design = PatchDesign("breast", BREAST.boundary, HeightAnchor(200, pi / 2))
    there = cut(moved, (*LEVELS, *sides), design)[0]
    assert there.mesh.area_mm2() == pytest.approx(here.mesh.area_mm2(), rel=1e-9)
    assert line_names(there) == line_names(here)


def test_same_lines_give_the_same_patch() -> None:
    first, second = (cut(CYLINDER, (*LEVELS, *SIDES), BREAST)[0] for _ in range(2))
    assert np.array_equal(first.mesh.vertices, second.mesh.vertices)
    assert np.array_equal(first.mesh.faces, second.mesh.faces)


def test_progress_runs_from_nothing_to_all() -> None:
    told: list[tuple[float, str]] = []
    lines = [lay_tape_line(CYLINDER, line) for line in LEVELS]
    cut_patches(CYLINDER, lines, [SLEEVE], progress=lambda part, words: told.append((part, words)))
    assert told[0][0] == 0.0
    assert told[-1][0] == 1.0
    assert [part for part, _ in told] == sorted(part for part, _ in told)
    assert any("sleeve" in words for _, words in told)
