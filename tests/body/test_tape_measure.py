"""Tapes on solids with known girths, and on bodies turned, moved and mirrored."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import igl
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull, cKDTree
from scipy.spatial.transform import Rotation

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.named_girth import NamedGirth, take_girth
from fitkit.body.scan_limits import scan_limit_mm
from fitkit.body.tape_measure import TapeMeasure, girth_at_mm, tape_measures
from fitkit.errors import DesignError
from fitkit.geometry.mesh import TriangleMesh
from tests.body.stand_ins import BUILDS, figure
from tests.truth import solids

MIRROR = np.array([-1.0, 1.0, 1.0])
SIDES = {"left": "right", "right": "left"}


@lru_cache(maxsize=1)
def settled() -> Body:
    return body_of_mesh(figure(BUILDS[0]))


@lru_cache(maxsize=1)
def readings() -> dict[str, TapeMeasure]:
    return {measure.name: measure for measure in tape_measures(settled())}


def wall(outline: np.ndarray, height_mm: float = 40.0) -> TriangleMesh:
    """Return the upright wall over a closed plane outline, counter-clockwise."""
    count = len(outline)
    low = np.column_stack([outline, np.zeros(count)])
    ahead = (np.arange(count) + 1) % count
    own = np.arange(count)
    faces = np.vstack(
        [np.stack([own, ahead, own + count], 1), np.stack([ahead, ahead + count, own + count], 1)]
    )
    return TriangleMesh(np.vstack([low, low + np.array([0, 0, height_mm])]), faces)


def ring(count: int) -> np.ndarray:
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize(("a", "b"), [(150.0, 150.0), (180.0, 110.0), (160.0, 60.0)])
def test_girth_of_an_ellipse_is_that_of_ramanujan(a: float, b: float) -> None:
    """S. Ramanujan 1914, second formula: pi (a + b)(1 + 3h / (10 + sqrt(4 - 3h)))."""
    h = ((a - b) / (a + b)) ** 2
    true = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    girth = girth_at_mm(wall(ring(240) * [a, b]), [0, 0, 17], [0, 0, 1])
    assert girth == pytest.approx(true, rel=5e-4)


def test_girth_of_a_dumb_bell_bridges_its_hollow() -> None:
    """Two circles of radius r, d apart, joined by a web: the tape is 2 pi r + 2 d."""
    r, d = 60.0, 150.0
    turn = np.linspace(-0.75 * np.pi, 0.75 * np.pi, 200)
    right = np.column_stack([d / 2 + r * np.cos(turn), r * np.sin(turn)])
    outline = np.vstack([right, -right])
    mesh = wall(outline)
    girth = girth_at_mm(mesh, [0, 0, 11], [0, 0, 1])
    assert girth == pytest.approx(2 * np.pi * r + 2 * d, rel=5e-4)


def test_girth_square_to_a_leaning_limb_is_not_the_level_one() -> None:
    """A cylinder leaning by 35 degrees: pi 2r across its axis, Ramanujan's ellipse level."""
    tube = solids.cylinder(50, 500, 4)
    lean = np.radians(35)
    turned = Rotation.from_euler("y", lean).as_matrix()
    mesh = tube.with_vertices((tube.vertices - tube.vertices.mean(axis=0)) @ turned.T)
    across = girth_at_mm(mesh, [0, 0, 0], turned @ [0, 0, 1])
    a, b = 50 / np.cos(lean), 50.0
    h = ((a - b) / (a + b)) ** 2
    level = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    assert across == pytest.approx(2 * np.pi * 50, rel=1e-3)
    assert girth_at_mm(mesh, [0, 0, 0], [0, 0, 1]) == pytest.approx(level, rel=1e-3)


@settings(max_examples=25, deadline=None)
@given(
    turn=st.tuples(*[st.floats(-3, 3)] * 3),
    shift=st.tuples(*[st.floats(-2000, 2000)] * 3),
    height=st.floats(-60, 60),
)
def test_a_girth_does_not_feel_turning_moving_or_mirroring(
    turn: tuple[float, ...], shift: tuple[float, ...], height: float
) -> None:
    egg = solids.ellipsoid((160.0, 110.0, 200.0), 16)
    rotation = Rotation.from_rotvec(turn).as_matrix() * MIRROR
    moved = TriangleMesh(egg.vertices @ rotation.T + np.array(shift), egg.faces[:, ::-1])
    known = girth_at_mm(egg, [0, 0, height], [0.2, 0.1, 1])
    found = girth_at_mm(
        moved, rotation @ [0, 0, height] + np.array(shift), rotation @ [0.2, 0.1, 1]
    )
    assert found == pytest.approx(known, abs=1e-6)


@pytest.mark.slow
def test_no_measure_of_a_body_feels_turning_moving_or_mirroring() -> None:
    """A tenth of a millimetre: less than any tape shows. Sides change places in the mirror."""
    cos, sin = np.cos(0.2), np.sin(0.2)
    rotation = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]]) * MIRROR
    mesh = figure(BUILDS[0])
    other = TriangleMesh(mesh.vertices @ rotation.T + [250.0, -90, 0], mesh.faces[:, ::-1])
    found = {measure.name: measure for measure in tape_measures(body_of_mesh(other))}
    assert found.keys() == readings().keys()
    for name, measure in readings().items():
        side, _, rest = name.partition(" ")
        twin = f"{SIDES[side]} {rest}" if side in SIDES else name
        assert found[twin].length_mm == pytest.approx(measure.length_mm, abs=0.1), name


def test_a_whole_body_has_all_that_a_tape_list_asks_for() -> None:
    both = ["upper arm", "forearm", "elbow", "wrist", "thigh", "knee", "calf", "ankle"]
    both += ["shoulder length", "arm length", "knee height", "ankle height"]
    wanted = {"chest", "waist", "hip", "neck", "neck base", "head", "back length", "stature"}
    wanted |= {"front length", "crotch height", "waist height", "chest breadth"}
    wanted |= {f"{side} {part}" for side in SIDES for part in both}
    assert wanted <= readings().keys()
    length = {name: measure.length_mm for name, measure in readings().items()}
    assert length["stature"] == pytest.approx(BUILDS[0].stature_mm, abs=2)
    assert length["neck"] < length["neck base"] < length["chest"]
    for side in SIDES:
        thigh, knee, calf, ankle = (
            length[f"{side} {part}"] for part in ("thigh", "knee", "calf", "ankle")
        )
        assert ankle < calf < thigh
        assert knee < thigh
        wrist, forearm = length[f"{side} wrist"], length[f"{side} forearm"]
        assert wrist < forearm < length[f"{side} upper arm"] + 20
        assert length[f"{side} arm length"] > 0.3 * length["stature"]


def test_girths_across_the_limbs_are_those_that_trimesh_cuts() -> None:
    """Reference library: trimesh's plane section; its hull by SciPy. 0.01 mm."""
    mesh = settled().mesh
    other = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    for name in ("left calf", "right wrist", "left knee", "left upper arm"):
        measure = readings()[name]
        tape = measure.tape_mm
        middle = tape.mean(axis=0)
        normal = np.linalg.svd(tape - middle)[2][2]
        section = other.section(plane_origin=middle, plane_normal=normal)
        axes = np.linalg.svd(normal[np.newaxis])[2][1:]
        hulls = [ConvexHull((line - middle) @ axes.T) for line in section.discrete]
        around = [hull.area for hull in hulls if (hull.equations[:, 2] < 0).all()]
        assert min(around) == pytest.approx(measure.length_mm, abs=0.01), name


def test_a_length_over_the_skin_is_the_one_that_libigl_finds() -> None:
    """Reference library: libigl's exact geodesic distance between corners of the mesh."""
    mesh = settled().mesh
    tree = cKDTree(mesh.vertices)
    names = ("back neck", "back waist")
    corners = [int(tree.query(settled().landmark(name).at_mm)[1]) for name in names]
    marks = {n: Landmark(n, mesh.vertices[k]) for n, k in zip(names, corners, strict=True)}
    moved = Body(mesh, settled().trust_mm, {}, marks)
    (own,) = [m for m in tape_measures(moved) if m.name == "back length"]
    low, high = (np.sort(mesh.vertices[corners, 2])[k] for k in (0, 1))
    middle = mesh.corners.mean(axis=1)
    part = (middle[:, 2] > low - 60) & (middle[:, 2] < high + 60) & (np.abs(middle[:, 0]) < 120)
    cut, kept = mesh.faces_only(np.flatnonzero(part))
    number = {int(k): place for place, k in enumerate(kept)}
    none = np.zeros(0, dtype=np.int64)
    start, end = (np.array([number[k]]) for k in corners)
    other = igl.exact_geodesic(cut.vertices, cut.faces, start, none, end, none)
    assert own.length_mm == pytest.approx(float(other[0]), abs=0.05)


def test_lengths_run_over_the_surface_and_heights_down_to_the_floor() -> None:
    for measure in readings().values():
        ends = measure.tape_mm
        if measure.kind == "length":
            steps = np.linalg.norm(np.diff(ends, axis=0), axis=1).sum()
            assert measure.length_mm == pytest.approx(steps)
            assert measure.length_mm >= np.linalg.norm(ends[-1] - ends[0])
        if measure.kind == "height":
            assert ends[1, 2] == 0
            assert measure.length_mm == pytest.approx(ends[0, 2])
    arm = readings()["left arm length"]
    joints = [settled().landmark(f"left {name}").at_mm for name in ("shoulder", "elbow", "wrist")]
    straight = sum(np.linalg.norm(b - a) for a, b in pairwise(joints))
    assert straight <= arm.length_mm < 1.06 * straight


def test_a_girth_of_the_makers_own_is_taken_at_a_level_on_a_limb_or_through_landmarks() -> None:
    tube = solids.cylinder(100, 500, 8)
    tube = tube.with_vertices(tube.vertices - [0, 0, tube.vertices[:, 2].min()])
    points = {"a": [100.0, 0, 200], "b": [0.0, 100, 200], "c": [-100.0, 0, 300]}
    points |= {"d": [100.0, 0, 300]}
    body = Body(
        tube,
        np.zeros(len(tube.vertices)),
        {"trunk": SegmentAxis("trunk", np.array([0, 0, 500.0]), np.zeros(3))},
        {name: Landmark(name, np.array(at)) for name, at in points.items()},
    )
    known = 2 * np.pi * 100
    level = take_girth(body, NamedGirth("belt", height_mm=250))
    assert level.length_mm == pytest.approx(known, rel=1e-3)
    assert level.name == "belt"
    on_axis = take_girth(body, NamedGirth("belt", axis="trunk", along=0.3))
    assert on_axis.length_mm == pytest.approx(known, rel=1e-3)
    assert on_axis.tape_mm[0, 2] == pytest.approx(350)
    sash = take_girth(body, NamedGirth("sash", landmarks=("a", "b", "c")))
    slope = np.tan(np.arccos(1 / np.sqrt(1 + 2 * 0.5**2)))
    a, b = 100 * np.sqrt(1 + slope**2), 100.0
    h = ((a - b) / (a + b)) ** 2
    true = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    assert sash.length_mm == pytest.approx(true, rel=1e-3)
    extra = tape_measures(body, [NamedGirth("belt", height_mm=250)])
    assert "belt" in {measure.name for measure in extra}
    for bad in (
        NamedGirth("belt", height_mm=900),
        NamedGirth("belt", axis="tail", along=0.5),
        NamedGirth("belt", landmarks=("a", "d")),  # type: ignore[arg-type]
        NamedGirth("belt", landmarks=("a", "d", "a")),
    ):
        with pytest.raises(DesignError) as caught:
            take_girth(body, bad)
        assert caught.value.remedy


@pytest.mark.parametrize(
    ("name", "limit_mm"),
    [
        ("back length", 5), ("stature", 4), ("chest", 9), ("hip", 9), ("neck", 4),
        ("left wrist", 4), ("right thigh", 9), ("left calf", 4), ("chest breadth", 4), ("head", 2),
    ],
)  # fmt: skip
def test_limits_are_those_of_iso_20685(name: str, limit_mm: float) -> None:
    """ISO 20685-1:2018: lengths 5, heights 4, large girths 9, small girths 4, breadths 4."""
    assert scan_limit_mm(readings()[name]) == limit_mm
