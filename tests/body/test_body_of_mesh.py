from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.tape_measure import girth_at_mm, tape_measures
from fitkit.body.taut_round import taut_rounds
from fitkit.errors import InputError, MeshError
from fitkit.findings import Severity
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.topology import is_closed
from tests.body.stand_ins import UPPER_ARM, bust, whole_body
from tests.truth import solids
from tests.truth.mannequin import GIRTHS, mannequin, mannequin_girths_mm
from tests.truth.torso_field import ARM_AXIS, SHOULDER_MM

MIRROR = np.array([-1.0, 1.0, 1.0])


@lru_cache(maxsize=1)
def torso() -> Body:
    return body_of_mesh(mannequin(), settle=False)


@lru_cache(maxsize=1)
def whole() -> Body:
    return body_of_mesh(whole_body())


@lru_cache(maxsize=1)
def armless() -> Body:
    return body_of_mesh(bust())


def degrees_between(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip(a @ b, -1, 1))))


def test_arm_axes_are_those_the_mannequin_was_built_on() -> None:
    """1 degree and 3 mm: the axis of a tapered, not quite round arm cannot be told closer."""
    for side, flip in (("left", np.ones(3)), ("right", MIRROR)):
        axis = torso().axis(f"{side} arm")
        assert degrees_between(axis.direction, ARM_AXIS * flip) < 1
        off = np.linalg.norm(np.cross(SHOULDER_MM * flip - axis.start_mm, axis.direction))
        assert off < 3
        assert axis.start_mm[2] > SHOULDER_MM[2], "it starts on top of the shoulder"
        ends = np.stack([axis.start_mm, axis.end_mm])
        assert nearest_on_mesh(torso().mesh, ends)[2].max() < 1e-6


def test_a_quarter_turn_about_any_axis_is_the_wearers_left() -> None:
    for body in (torso(), whole()):
        for axis in body.axes.values():
            assert axis.bearing(np.pi / 2)[0] > 0.5, axis.name
            assert axis.bearing(0)[1] < -0.5, axis.name


def test_upper_arms_of_a_whole_body_are_found_although_the_elbows_bend() -> None:
    true = (UPPER_ARM[1] - UPPER_ARM[0]) / np.linalg.norm(UPPER_ARM[1] - UPPER_ARM[0])
    for side, flip in (("left", np.ones(3)), ("right", MIRROR)):
        assert degrees_between(whole().axis(f"{side} arm").direction, true * flip) < 2


def test_the_trunk_axis_runs_straight_down_at_x_0() -> None:
    for body in (torso(), whole(), armless()):
        axis = body.axis("trunk")
        assert axis.direction == pytest.approx([0, 0, -1])
        assert axis.start_mm[0] == 0
        assert axis.start_mm[2] == pytest.approx(body.mesh.vertices[:, 2].max())
        assert axis.end_mm[2] == pytest.approx(body.mesh.vertices[:, 2].min())


def test_the_neck_axis_leans_as_the_neck_does() -> None:
    """Built from (0, 5, 1380) to (0, -5, 1500): 4.8 degrees forward going up."""
    axis = whole().axis("neck")
    true = np.array([0.0, 10.0, -120.0]) / np.hypot(10, 120)
    assert degrees_between(axis.direction, true) < 2


def test_landmarks_lie_on_the_surface_and_mirror_each_other() -> None:
    body = torso()
    points = np.array([landmark.at_mm for landmark in body.landmarks.values()])
    assert nearest_on_mesh(body.mesh, points)[2].max() < 1e-6
    pairs = [name for name in body.landmarks if name.startswith("left ")]
    assert set(pairs) >= {"left armpit", "left shoulder", "left waist", "left chest", "left neck"}
    for name in pairs:
        left, right = body.landmark(name), body.landmark(name.replace("left", "right"))
        assert left.at_mm[0] > 0
        assert left.at_mm * MIRROR == pytest.approx(right.at_mm, abs=2), name
    for way, axis, sign in (("front", 1, -1), ("back", 1, 1)):
        for level in ("chest", "waist", "hip", "neck"):
            at = body.landmark(f"{way} {level}").at_mm
            assert at[0] == pytest.approx(0, abs=0.01)
            assert sign * (at[axis] - body.axis("trunk").start_mm[axis]) > 0
    assert all(0 < landmark.confidence <= 1 for landmark in body.landmarks.values())


def test_the_body_reads_from_top_to_bottom() -> None:
    for body in (torso(), whole()):
        heights = [
            body.landmark(name).at_mm[2]
            for name in ("top", "left shoulder", "left armpit", "front chest", "front waist",
                         "front hip", "bottom")
        ]  # fmt: skip
        assert heights == sorted(heights, reverse=True)


def test_the_armpit_is_where_arm_and_trunk_part() -> None:
    """Just below it the level section falls into three rounds, just above it does not."""
    body = torso()
    height = min(body.landmark(f"{side} armpit").at_mm[2] for side in ("left", "right"))
    up = np.array([0.0, 0.0, 1.0])
    assert len(taut_rounds(body.mesh, np.array([0, 0, height - 1.0]), up)) == 3
    assert len(taut_rounds(body.mesh, np.array([0, 0, height + 2.0]), up)) == 1


@pytest.mark.parametrize("name", list(GIRTHS))
def test_girths_of_the_mannequin_are_the_true_ones(name: str) -> None:
    """A millimetre is a tape's own graduation; the truth comes from the mesh by other code."""
    point, normal = GIRTHS[name]
    girth = girth_at_mm(torso().mesh, point, normal)
    assert girth == pytest.approx(mannequin_girths_mm()[name], abs=1.0)


def test_measured_girths_are_the_extremes_they_are_named_for() -> None:
    body = torso()
    reading = {measure.name: measure for measure in tape_measures(body)}
    up = [0, 0, 1]
    inside = body.axis("trunk").start_mm * np.array([1, 1, 0])
    armpit = body.landmark("left armpit").at_mm[2]

    def level(height: float) -> float:
        return girth_at_mm(body.mesh, inside + np.array([0, 0, height]), up)

    chest, waist, hip = (reading[name].length_mm for name in ("chest", "waist", "hip"))
    assert chest >= max(level(z) for z in np.arange(1100, armpit - 15, 9.0)) - 0.2
    assert waist <= min(level(z) for z in np.arange(1000, armpit - 15, 9.0)) + 0.2
    assert hip >= max(level(z) for z in np.arange(800, 1050, 9.0)) - 0.2
    assert waist < min(chest, hip)
    true = mannequin_girths_mm()
    assert waist == pytest.approx(true["waist"], abs=2)
    assert hip == pytest.approx(true["hip"], abs=2)
    assert reading["neck"].length_mm <= true["neck"] + 1
    assert reading["left upper arm"].length_mm >= true["left upper arm"] - 1
    assert reading["left upper arm"].length_mm == pytest.approx(
        reading["right upper arm"].length_mm, abs=1
    )


def test_the_tape_is_convex_and_as_long_as_it_says() -> None:
    for measure in tape_measures(torso()):
        ring = measure.tape_mm
        if measure.kind == "girth":
            assert measure.round is not None
            closed = np.vstack([ring, ring[:1]])
            assert np.linalg.norm(np.diff(closed, axis=0), axis=1).sum() == pytest.approx(
                measure.length_mm
            )
            assert measure.length_mm <= measure.round.length_mm() + 1e-9
        else:
            assert (len(ring) == 2) == (measure.kind != "length")
            steps = np.linalg.norm(np.diff(ring, axis=0), axis=1)
            assert steps.sum() == pytest.approx(measure.length_mm)
        assert measure.where


def test_a_bust_without_arms_still_has_chest_waist_hip_and_neck() -> None:
    body = armless()
    assert set(body.axes) == {"trunk", "neck"}
    assert {"chest", "waist", "hip", "neck"} <= {m.name for m in tape_measures(body)}
    assert "body-no-arms" in {finding.code for finding in body.findings}
    assert body.landmark("front chest").confidence < 0.9


def test_a_column_has_only_a_trunk_and_says_so() -> None:
    column = solids.cylinder(120, 500, 20)
    body = body_of_mesh(column)
    assert set(body.axes) == {"trunk"}
    codes = {finding.code for finding in body.findings}
    assert {"body-no-arms", "body-no-neck", "body-no-waist", "body-facing-unsure"} <= codes


def test_one_arm_against_the_trunk_is_a_warning() -> None:
    """The right arm is cut off at x = -185 and capped there."""
    mesh = whole_body()
    flat = mesh.vertices.copy()
    arm = (flat[:, 0] < -185) & (flat[:, 2] > 600)
    flat[arm, 0] = -185 + 0.002 * (flat[arm, 0] + 185)
    body = body_of_mesh(mesh.with_vertices(flat), settle=False)
    (finding,) = [f for f in body.findings if f.code == "body-one-arm"]
    assert finding.severity is Severity.WARNING
    assert finding.where == "right arm"
    assert finding.remedy


def test_a_turned_and_shifted_body_is_settled_back() -> None:
    cos, sin = np.cos(0.21), np.sin(0.21)
    rotation = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])
    mesh = whole_body()
    moved = mesh.with_vertices(mesh.vertices @ rotation.T + np.array([140.0, -60.0, 0.0]))
    body = body_of_mesh(moved, trust_mm=np.linspace(0, 9, len(mesh.vertices)))
    assert np.abs(body.mesh.vertices - whole().mesh.vertices).max() < 0.5
    assert body.axis("trunk").start_mm[:2] == pytest.approx([0, 0], abs=1e-9)
    assert body.trust_mm[-1] == 9
    (note,) = [f for f in body.findings if f.code == "body-mirror"]
    assert "-12.0 degrees" in note.message


def test_a_mesh_that_is_no_upright_body_is_refused() -> None:
    ball = solids.sphere(200, 30)
    for bad, words in (
        (solids.spherical_cap(300, 1.2, 40), "not closed"),
        (TriangleMesh(ball.vertices, ball.faces[:, ::-1]), "inside out"),
        (ball.with_vertices(ball.vertices / 1000), "tall"),
    ):
        with pytest.raises(MeshError, match=words) as caught:
            body_of_mesh(bad)
        assert caught.value.remedy
    far = ball.with_vertices(ball.vertices + np.array([900.0, 0, 0]))
    assert is_closed(far)
    with pytest.raises(MeshError, match="No trunk"):
        body_of_mesh(far, settle=False)


def test_a_plane_beside_the_body_has_no_girth() -> None:
    with pytest.raises(InputError, match="misses"):
        girth_at_mm(solids.sphere(100, 20), [0, 0, 300], [0, 0, 1])
