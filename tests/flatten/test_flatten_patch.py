"""Blanks against closed-form developments, the best possible map of a cap, and invariants."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.errors import DesignError
from fitkit.findings import Severity
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.sheet_demand import sheet_demand
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids


def outline_of(flat: FlatPatch) -> Floats:
    return np.concatenate([edge.points_mm[:-1] for edge in flat.outline])


def edge_named(flat: FlatPatch, line: str) -> FlatEdge:
    return next(edge for edge in flat.outline if edge.line == line)


def length_mm(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def circle_through(points: Floats) -> tuple[Floats, float]:
    matrix = np.column_stack([2.0 * points, np.ones(len(points))])
    x, y, c = np.linalg.lstsq(matrix, (points**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y]), float(np.sqrt(c + x * x + y * y))


def codes(flat: FlatPatch) -> set[str]:
    return {finding.code for finding in flat.findings}


def test_cylinder_panel_lies_flat_without_stretch() -> None:
    """A ruling-aligned prism is developable: isometric to 1e-9 (closed form)."""
    panel = solids.cylinder_panel(80.0, 1.8, 150.0, 5.0)
    flat = flatten_patch(solids.patch_of(panel, material="aluminium"))
    assert np.abs(flat.stretch - 1.0).max() < 1e-9
    assert shapely.Polygon(outline_of(flat)).area == pytest.approx(panel.area_mm2(), rel=1e-12)
    # The panel's middle is the front and it stands upright: up is along the rulings.
    rising = flat.form.vertices[:, 2] - flat.flat_mm @ flat.up
    assert np.ptp(rising) < 1e-6
    assert flat.findings == ()


def test_cone_unrolls_to_its_sector() -> None:
    """Cone r 30, h 40, opened along a ruling.

    Slant 50, sector 216 degrees, area 4712.389 mm2 (closed form; the mesh has the area of the
    pyramid inside it, 1 - (pi / n)^2 / 6 or so).
    """
    mesh = solids.cone(30.0, 40.0, 2.0, capped=False)
    # A hair off the apex a cone is a sleeve; here the fan of rulings up to it is cut instead.
    ring = solids.border_rounds(mesh)[0]
    apex = int(np.argmax(mesh.vertices[:, 2]))
    keep = ~(mesh.faces == apex).any(axis=1)
    sleeve, _ = mesh.faces_only(keep)
    gone = mesh.area_mm2() - sleeve.area_mm2()
    flat = flatten_patch(solids.patch_of(sleeve, lines=("hem", "tip")))
    hem = edge_named(flat, "hem").points_mm
    centre, radius = circle_through(hem)
    assert radius == pytest.approx(50.0, abs=1e-6)
    chords = np.linalg.norm(np.diff(hem, axis=0), axis=1)
    angle = float((2.0 * np.arcsin(chords / (2.0 * radius))).sum())
    assert np.degrees(angle) == pytest.approx(216.0, rel=1e-3)
    assert len(hem) == len(ring) + 1
    area = shapely.Polygon(outline_of(flat)).area + gone
    assert area == pytest.approx(4712.389, rel=1e-3)
    assert np.abs(flat.stretch - 1.0).max() < 1e-9
    seam = edge_named(flat, "seam").points_mm
    along = seam - centre
    assert np.abs(along[:, 0] * along[-1, 1] - along[:, 1] * along[-1, 0]).max() < 1e-4


@pytest.mark.parametrize(
    ("r_bottom", "r_top", "height", "outer", "inner", "angle_deg"),
    [
        # r1 60, r2 40, h 150 and 100/75/200: slant s = hypot(h, r1 - r2), outer radius
        # r1 s / (r1 - r2), inner r2 s / (r1 - r2), angle 360 (r1 - r2) / s (closed form).
        (60.0, 40.0, 150.0, 453.9824, 302.6549, 47.5789),
        (100.0, 75.0, 200.0, 806.2258, 604.6693, 44.6525),
    ],
)
def test_frustum_unrolls_to_its_ring_sector(
    r_bottom: float, r_top: float, height: float, outer: float, inner: float, angle_deg: float
) -> None:
    mesh = solids.frustum(r_bottom, r_top, height, 6.0, capped=False)
    flat = flatten_patch(solids.patch_of(mesh, lines=("hem", "cuff")))
    assert np.abs(flat.stretch - 1.0).max() < 1e-9
    assert [edge.line for edge in flat.outline] == ["seam", "hem", "seam", "cuff"]
    for line, expected in (("hem", outer), ("cuff", inner)):
        points = edge_named(flat, line).points_mm
        centre, radius = circle_through(points)
        assert radius == pytest.approx(expected, abs=1e-3)
        a, b = points[0] - centre, points[-1] - centre
        angle = np.degrees(np.arctan2(abs(a[0] * b[1] - a[1] * b[0]), a @ b))
        # The mesh is the inscribed pyramid: its girth is short by (pi / n)^2 / 6.
        assert angle == pytest.approx(angle_deg, rel=8e-4)
    hem = edge_named(flat, "hem")
    assert hem.formed_arc_mm[-1] == pytest.approx(length_mm(hem.points_mm), abs=1e-9)


def test_sleeve_is_as_wide_as_its_girth_and_its_seam_sides_are_equal() -> None:
    """Cylinder r 50: girth 2 pi r = 314.159 mm, within 0.05 %."""
    mesh = solids.cylinder(50.0, 120.0, 3.0, capped=False)
    flat = flatten_patch(solids.patch_of(mesh, lines=("lower", "upper")))
    for line in ("lower", "upper"):
        points = edge_named(flat, line).points_mm
        assert length_mm(points) == pytest.approx(2.0 * np.pi * 50.0, rel=5e-4)
        assert np.linalg.norm(points[-1] - points[0]) == pytest.approx(length_mm(points), rel=1e-9)
    there, back = (edge for edge in flat.outline if edge.line == "seam")
    steps = np.linalg.norm(np.diff(there.points_mm, axis=0), axis=1)
    assert steps == pytest.approx(np.linalg.norm(np.diff(back.points_mm, axis=0), axis=1)[::-1])
    assert there.neighbours[0][1] == back.neighbours[-1][1] == "upper"
    assert "seam-opened" in codes(flat)


def oval_limb(swell: float) -> tuple[TriangleMesh, int, int]:
    """Return an oval tapering sleeve 200 mm long, its vertices a row and its number of rows."""
    mesh = solids.frustum(60.0, 40.0, 200.0, 6.0, capped=False)
    around = len(solids.border_rounds(mesh)[0])
    v = mesh.vertices
    wider = 1.0 + swell * np.sin(np.pi * v[:, 2] / 200.0)
    moved = np.column_stack([v[:, 0] * 1.3 * wider, v[:, 1] * wider, v[:, 2]])
    return mesh.with_vertices(moved), around, len(v) // around


@pytest.mark.parametrize(("swell", "within"), [(0.0, 1e-9), (0.01, 3e-3)])
def test_named_seam_is_where_it_opens_and_level_line_keeps_its_girth(
    swell: float, within: float
) -> None:
    """A tapering oval limb: the blank's length at a level is the form's girth there to 0.3 %.

    Without swelling it is an oblique cone over an ellipse, developable, and exact.
    """
    mesh, around, rows = oval_limb(swell)
    back = around // 4
    middle = (rows // 2) * around
    level = np.append(middle + np.arange(around), middle)
    patch = solids.patch_of(
        mesh,
        lines=("elbow", "wrist"),
        inner={"back line": np.arange(rows) * around + back, "mid level": level},
        seams=("back line",),
    )
    flat = flatten_patch(patch)
    girth = length_mm(mesh.vertices[level])
    pieces = [line for line in flat.inner_lines if line.line == "mid level"]
    laid = sum(length_mm(piece.points_mm) for piece in pieces)
    assert laid == pytest.approx(girth, rel=within)
    assert {line.line for line in flat.inner_lines} == {"mid level"}
    seam = edge_named(flat, "seam")
    vertex = {tuple(p): i for i, p in enumerate(flat.flat_mm.tolist())}
    on_seam = flat.form.vertices[[vertex[tuple(p)] for p in seam.points_mm.tolist()]]
    bearing = np.arctan2(on_seam[:, 1], on_seam[:, 0])
    assert bearing == pytest.approx(np.full(len(bearing), bearing[0]), abs=1e-9)
    assert bearing[0] == pytest.approx(np.pi / 2.0, abs=0.1)


def test_barrel_says_which_line_forming_has_to_lengthen() -> None:
    """A barrel is curved both ways: no blank keeps all its girths, and the difference is told."""
    mesh, around, rows = oval_limb(0.1)
    middle = (rows // 2) * around
    level = np.append(middle + np.arange(around), middle)
    flat = flatten_patch(
        solids.patch_of(
            mesh, lines=("elbow", "wrist"), inner={"belly": level}, material="aluminium"
        )
    )
    (finding,) = [f for f in flat.findings if f.code == "line-length"]
    laid = sum(length_mm(line.points_mm) for line in flat.inner_lines)
    lengths = {"belly": laid / length_mm(mesh.vertices[level]) - 1.0}
    for edge in flat.outline:
        if edge.line != "seam":
            lengths[edge.line] = length_mm(edge.points_mm) / edge.formed_arc_mm[-1] - 1.0
    assert lengths["belly"] < -0.003
    assert finding.number is not None
    assert abs(finding.number) >= max(map(abs, lengths.values())) - 1e-9


def test_seam_left_to_choose_is_the_shortest_way_and_straight_on_the_blank() -> None:
    """A cylinder cut square below and aslant above: the shortest way up is at its low side.

    The mesh is built askew, so that no row of its edges runs straight up.
    """
    mesh = solids.frustum(50.0, 50.0, 120.0, 5.0, capped=False)
    v = mesh.vertices
    turn = np.arctan2(v[:, 1], v[:, 0]) + 0.4 * v[:, 2] / 120.0
    top = 100.0 + 20.0 * np.cos(turn)
    points = np.column_stack([50.0 * np.cos(turn), 50.0 * np.sin(turn), v[:, 2] / 120.0 * top])
    skew = mesh.with_vertices(points)
    around = len(solids.border_rounds(skew)[0])
    level = np.append(np.arange(around), 0) + 10 * around
    flat = flatten_patch(
        solids.patch_of(skew, lines=("below", "above"), inner={"round": level}, thickness_mm=0.2)
    )
    laid = sum(length_mm(line.points_mm) for line in flat.inner_lines)
    assert {line.line for line in flat.inner_lines} == {"round"}
    assert laid == pytest.approx(length_mm(skew.vertices[level]), rel=1e-3)
    seams = [edge for edge in flat.outline if edge.line == "seam"]
    for seam in seams:
        assert seam.formed_arc_mm[-1] == pytest.approx(80.0, abs=0.3)
        ends = seam.points_mm[[0, -1]]
        chord = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        aside = (seam.points_mm - ends[0]) @ np.array([-chord[1], chord[0]])
        assert np.abs(aside).max() < 0.2
    assert seams[0].formed_arc_mm[-1] == pytest.approx(seams[1].formed_arc_mm[-1], abs=1e-9)


@pytest.mark.parametrize("forming", ["balanced", "dish", "raise", "soft"])
def test_cap_is_near_the_best_map_and_sized_for_its_forming(forming: str) -> None:
    """The best map of a cap has a ratio of length scales of alpha / sin(alpha).

    Milnor, A Problem in Cartography, American Mathematical Monthly 76 (1969), 1101-1112.
    """
    alpha = np.radians(40)
    mesh = solids.spherical_cap(100.0, alpha, 2.3)
    flat = flatten_patch(solids.patch_of(mesh, material="aluminium", forming=forming))
    bound = alpha / np.sin(alpha)
    excess = np.log(flat.stretch.max() / flat.stretch.min()) / np.log(bound) - 1.0
    assert -0.001 < excess < 0.015
    demand = sheet_demand(flat)
    assert demand.forming == forming
    laid = shapely.Polygon(outline_of(flat)).area
    assert demand.size == pytest.approx(np.sqrt(laid / mesh.area_mm2()), rel=1e-9)
    if forming == "dish":
        assert flat.stretch.min() == pytest.approx(1.0, abs=1e-9)
        assert demand.size < 0.98
        assert demand.shrink_mm2 == 0.0
    elif forming == "raise":
        assert flat.stretch.max() == pytest.approx(1.0, abs=1e-9)
        assert demand.size > 1.01
        assert demand.stretch_mm2 == 0.0
    elif forming == "balanced":
        assert flat.stretch.max() * flat.stretch.min() == pytest.approx(1.0, abs=1e-9)
    else:
        # Aluminium, alloy not known: 8 % of stretch, 5 % of shrink.
        used = np.log(flat.stretch.max()) / np.log(1.08), np.log(flat.stretch.min()) / np.log(0.95)
        assert used[0] == pytest.approx(used[1], rel=1e-9)


def test_dome_has_an_up_all_the_same_and_says_so() -> None:
    flat = flatten_patch(solids.patch_of(solids.spherical_cap(100.0, 1.0, 6.0)))
    assert np.linalg.norm(flat.up) == pytest.approx(1.0)
    front = flat.flat_mm @ flat.up
    assert np.corrcoef(front, -flat.form.vertices[:, 1])[0, 1] > 0.99
    assert {"up-not-plain", "stretch-card"} <= codes(flat)


def test_stretch_says_how_the_sheet_grows() -> None:
    """On a cap the plate's middle is longer than the blank's, its rim shorter round."""
    flat = flatten_patch(solids.patch_of(solids.spherical_cap(100.0, 0.8, 4.0)))
    middle = flat.flat_mm[flat.faces].mean(axis=1)
    radius = np.linalg.norm(middle, axis=1)
    inner, rim = radius < 0.1 * radius.max(), radius > 0.95 * radius.max()
    assert (flat.stretch[inner] > 1.0).all()
    assert flat.stretch[rim, 1].mean() < 0.97
    # At the rim the larger stretch points outwards.
    outward = middle[rim] / radius[rim, None]
    assert np.abs((flat.stretch_direction[rim] * outward).sum(axis=1)).min() > 0.98
    # Length of every edge on the form is what the stretch makes of its length on the flat.
    f, k = flat.faces, 7
    flat_edge = flat.flat_mm[f[k, 1]] - flat.flat_mm[f[k, 0]]
    along = flat.stretch_direction[k]
    across = np.array([-along[1], along[0]])
    formed = np.hypot(
        flat.stretch[k, 0] * (flat_edge @ along), flat.stretch[k, 1] * flat_edge @ across
    )
    true = np.linalg.norm(flat.form.vertices[f[k, 1]] - flat.form.vertices[f[k, 0]])
    assert formed == pytest.approx(true, rel=1e-9)


def rotation(axis: tuple[float, float, float], angle: float) -> Floats:
    x, y, z = np.asarray(axis) / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn: Floats = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    return turn


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    axis=st.tuples(*[st.floats(0.1, 1.0)] * 3),
    angle=st.floats(-3.0, 3.0),
    shift=st.floats(-500.0, 500.0),
    mirrored=st.booleans(),
)
def test_moving_or_mirroring_the_plate_leaves_the_blank_as_it_is(
    axis: tuple[float, float, float], angle: float, shift: float, mirrored: bool
) -> None:
    mesh = solids.saddle(60.0, 0.006, 9.0)
    vertices = mesh.vertices @ rotation(axis, angle).T + shift
    faces = mesh.faces
    if mirrored:
        vertices = vertices * np.array([-1.0, 1.0, 1.0])
        faces = faces[:, ::-1]
    here = flatten_patch(solids.patch_of(mesh))
    there = flatten_patch(solids.patch_of(TriangleMesh(vertices, faces)))

    def distances(flat: FlatPatch) -> Floats:
        sample = flat.flat_mm[::7]
        result: Floats = np.linalg.norm(sample[:, None] - sample[None], axis=2)
        return result

    assert distances(there) == pytest.approx(distances(here), abs=1e-4)


def test_same_patch_gives_the_same_blank_to_the_bit() -> None:
    mesh = solids.spherical_cap(80.0, 0.9, 6.0)
    first, second = (flatten_patch(solids.patch_of(mesh)) for _ in range(2))
    assert first.flat_mm.tobytes() == second.flat_mm.tobytes()


def test_spiral_ramp_that_lies_over_itself_is_stopped() -> None:
    """A helical ramp of more than one turn of a tangent developable lies over itself flat.

    The tangent developable of a helix a 40, c 30 turns by 288 degrees a turn (closed form), so
    1.5 turns cover 432 degrees of the flat ring.
    """
    a, c = 40.0, 30.0
    turns, rows = 240, 8
    t = np.linspace(0.0, 2.0 * np.pi * 1.5, turns + 1)
    tangent = np.column_stack([-a * np.sin(t), a * np.cos(t), np.full_like(t, c)]) / np.hypot(a, c)
    edge = np.column_stack([a * np.cos(t), a * np.sin(t), c * t])
    across = np.linspace(4.0, 30.0, rows + 1)
    points = (edge[None] + across[:, None, None] * tangent[None]).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(rows), np.arange(turns), indexing="ij")
    k = (i * (turns + 1) + j).ravel()
    up = k + turns + 1
    faces = np.concatenate([np.column_stack([k, k + 1, up + 1]), np.column_stack([k, up + 1, up])])
    flat = flatten_patch(solids.patch_of(TriangleMesh(points, faces), material="aluminium"))
    (stop,) = [f for f in flat.findings if f.severity is Severity.STOP]
    assert stop.code == "flat-overlap"
    assert stop.number is not None
    # Radii 62.5-ish ring: the overlap is the ring's area over 432 - 360 = 72 degrees.
    area = sum(shapely.area(shapely.polygons(flat.flat_mm[flat.faces])))
    assert stop.number == pytest.approx(area * 72.0 / 432.0, rel=0.1)
    assert stop.remedy


def test_two_pieces_closed_solids_no_area_and_handles_are_refused() -> None:
    one = solids.plane_rectangle(50.0, 50.0, 10.0)
    two = TriangleMesh(
        np.concatenate([one.vertices, one.vertices + 100.0]),
        np.concatenate([one.faces, one.faces + len(one.vertices)]),
    )
    with pytest.raises(DesignError, match="2 pieces"):
        flatten_patch(solids.patch_of(two))
    with pytest.raises(DesignError, match="0 borders"):
        flatten_patch(solids.patch_of(solids.sphere(50.0, 20.0)))
    with pytest.raises(DesignError, match="has no area") as caught:
        flatten_patch(solids.patch_of(one.with_vertices(one.vertices * [1.0, 1.0, 0.0])))
    assert "two of its lines" in caught.value.remedy
    folded = one.vertices.copy()
    folded[one.faces[5, 0]] = folded[one.faces[5, 1]]
    with pytest.raises(DesignError, match="no area in 2 of its 50 triangles"):
        flatten_patch(solids.patch_of(one.with_vertices(folded)))
    torus = solids.torus(60.0, 20.0, 8.0)
    holed, _ = torus.faces_only(np.arange(len(torus.faces)) > 0)
    with pytest.raises(DesignError, match="handle"):
        flatten_patch(solids.patch_of(holed))


def test_seam_that_does_not_cross_is_refused_by_name() -> None:
    mesh = solids.cylinder(50.0, 60.0, 10.0, capped=False)
    patch = solids.patch_of(mesh, inner={"round": np.array([40, 41, 42])}, seams=("round",))
    with pytest.raises(DesignError) as caught:
        flatten_patch(patch)
    assert "'round'" in caught.value.cause
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("half_angle", "material", "code", "severity"),
    [
        (0.3, "aluminium", None, None),
        (0.4, "card", "stretch-card", Severity.NOTE),
        (0.9, "card", "stretch-card", Severity.WARNING),
        (1.4, "aluminium", "stretch-heavy", Severity.WARNING),
        (2.2, "aluminium", "stretch-heavy", Severity.STOP),
    ],
)
def test_stretch_is_judged_by_what_the_sheet_can_give(
    half_angle: float, material: str, code: str | None, severity: Severity | None
) -> None:
    """The bound for a cap, half of log(alpha / sin alpha) each way, is less than what is told."""
    mesh = solids.spherical_cap(100.0, half_angle, 20.0 * half_angle / 3.0)
    flat = flatten_patch(solids.patch_of(mesh, material=material))
    told = [f for f in flat.findings if f.code.startswith("stretch-")]
    assert [f.code for f in told] == ([code] if code else [])
    if told:
        assert told[0].severity is severity
        assert told[0].remedy
        assert told[0].number is not None
        bound = 1.0 - np.sqrt(np.sin(half_angle) / half_angle)
        assert 0.9 * bound < told[0].number < 2.5 * bound


def test_progress_ends_at_one_and_never_goes_back() -> None:
    told: list[float] = []
    flatten_patch(
        solids.patch_of(solids.spherical_cap(80.0, 0.9, 8.0)),
        progress=lambda fraction, _: told.append(fraction),
    )
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_hole_in_a_plate_and_a_needle_are_told_with_a_remedy() -> None:
    cap = solids.spherical_cap(100.0, 0.7, 6.0)
    middle = cap.corners.mean(axis=1)
    holed, _ = cap.faces_only(np.linalg.norm(middle[:, :2] - [30.0, 0.0], axis=1) > 8.0)
    (hole,) = [f for f in flatten_patch(solids.patch_of(holed)).findings if f.code == "hole"]
    rim = holed.vertices[np.append(loop := solids.border_rounds(holed)[1], loop[0])]
    assert hole.number == pytest.approx(length_mm(rim))
    assert hole.remedy
    needle = flatten_patch(solids.patch_of(solids.plane_rectangle(200.0, 0.5, 2.0)))
    (narrow,) = [f for f in needle.findings if f.code == "needle"]
    assert narrow.number == pytest.approx(0.5, rel=0.01)
    sleeve = flatten_patch(solids.patch_of(solids.cylinder(50.0, 100.0, 6.0, capped=False)))
    assert not {"hole", "needle"} & codes(sleeve)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_so_few_triangles_lie_flat_but_tell_little(count: int) -> None:
    points = np.array([[0, 0, 0], [40, 0, 0], [20, 5, 35], [60, 5, 35], [50, -3, 70]], dtype=float)
    faces = np.array([[0, 1, 2], [1, 3, 2], [2, 3, 4]])
    mesh = TriangleMesh(points[: count + 2], faces[:count])
    flat = flatten_patch(solids.patch_of(mesh, material="aluminium"))
    assert np.abs(flat.stretch - 1.0).max() < 1e-9
    (few,) = [f for f in flat.findings if f.code == "few-triangles"]
    assert few.number == count
    assert few.remedy
