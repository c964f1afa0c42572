"""Joints of bodies whose skeleton is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.body.body import Body, SegmentAxis
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.joints import find_joints, with_joint_centres
from fitkit.body.skin_shares import skin_shares
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.motion.movement import movements_of
from fitkit.motion.pose import pose_of
from tests.body.stand_ins import BUILDS, bust, figure

HEAVY = next(build for build in BUILDS if build.name == "heavy")
WITHIN_MM = 10.0


@pytest.fixture(scope="module")
def heavy() -> Body:
    return body_of_mesh(figure(HEAVY), settle=False)


@pytest.mark.parametrize("joint", ["shoulder", "elbow", "wrist", "knee", "ankle"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_joint_centres_lie_within_10_mm_of_the_skeleton(heavy: Body, joint: str, side: str) -> None:
    mirror = np.array([1.0 if side == "left" else -1.0, 1.0, 1.0])
    true = HEAVY.joints()[joint] * mirror
    found = find_joints(heavy)[f"{side} {joint}"].centre_mm
    assert np.linalg.norm(found - true) < WITHIN_MM


def test_the_hip_lies_over_the_skeletons_at_the_surveys_height(heavy: Body) -> None:
    """Sideways and front to back the thigh tells it; the height is that of the trochanter.

    ANSUR II: trochanterion over crotch height 1.064 (men) and 1.081 (women).
    """
    hip = find_joints(heavy)["left hip"].centre_mm
    true = HEAVY.joints()["hip"]
    assert np.abs(hip[:2] - true[:2]).max() < WITHIN_MM
    crotch = heavy.landmark("crotch").at_mm[2]
    assert 1.064 < hip[2] / crotch < 1.081


def test_the_neck_of_a_heavy_body_is_found_above_its_shoulders(heavy: Body) -> None:
    neck = find_joints(heavy)["neck"].centre_mm
    assert neck[2] > heavy.landmark("left shoulder").at_mm[2] - 20.0
    assert abs(neck[0]) < 1.0


def test_a_body_has_the_joints_of_the_parts_it_has() -> None:
    """A bust has no arms to turn; its neck and spine move."""
    assert set(find_joints(body_of_mesh(bust()))) == {"spine", "neck"}


def test_a_forearm_by_itself_has_elbow_and_wrist_only() -> None:
    axis = SegmentAxis("left forearm", np.array([0.0, 0, 300]), np.array([0.0, 0, 60]))
    body = body_of_mesh(bust())
    part = Body(body.mesh, body.trust_mm, {"trunk": body.axis("trunk"), "left forearm": axis})
    assert set(find_joints(part)) == {"left elbow", "left wrist"}


def test_skin_shares_are_whole_on_the_limbs_and_none_elsewhere(heavy: Body) -> None:
    joints = find_joints(heavy)
    shares = skin_shares(heavy, joints)
    assert list(shares) == list(joints)
    points, skeleton = heavy.mesh.vertices, HEAVY.joints()
    hand = np.linalg.norm(points - skeleton["hand"], axis=1) < 60
    for name in ("left shoulder", "left elbow", "left wrist", "spine"):
        assert shares[name][hand].min() > 0.99, name
    for name in ("right shoulder", "right wrist", "left hip", "neck"):
        assert shares[name][hand].max() < 0.01, name
    foot = (points[:, 2] < 40) & (points[:, 0] > 0)
    for name in ("left hip", "left knee"):
        assert shares[name][foot].min() > 0.99
    for share in shares.values():
        assert share.min() >= 0
        assert share.max() <= 1


def furthest_edge(points: Floats, faces: Floats) -> Floats:
    corners = points[faces]
    return np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)


def test_a_bent_elbow_creases_smoothly_and_leaves_the_rest_alone(heavy: Body) -> None:
    """Skin stretches behind the joint and folds before it; no edge is torn, far skin is rigid."""
    joints = find_joints(heavy)
    shares = skin_shares(heavy, joints)
    bend = movements_of(joints)["left elbow bend"]
    pose = pose_of(joints, [(bend, np.radians(90.0))])
    moved = pose.moved(heavy.mesh.vertices, shares)
    still = shares["left elbow"] == 0
    assert (moved[still] == heavy.mesh.vertices[still]).all()
    before = furthest_edge(heavy.mesh.vertices, heavy.mesh.faces)
    after = furthest_edge(moved, heavy.mesh.faces)
    assert (after / np.maximum(before, 1.0)).max() < 4.0
    hand = np.linalg.norm(heavy.mesh.vertices - HEAVY.joints()["hand"], axis=1) < 60
    assert moved[hand, 2].mean() > heavy.mesh.vertices[hand, 2].mean() + 100
    assert moved[hand, 1].mean() < heavy.mesh.vertices[hand, 1].mean() - 100


def test_a_centre_put_right_by_hand_is_taken_and_a_wrong_name_refused(heavy: Body) -> None:
    joints = find_joints(heavy)
    put = with_joint_centres(joints, {"left knee": np.array([100.0, 0.0, 470.0])})
    assert put["left knee"].centre_mm.tolist() == [100.0, 0.0, 470.0]
    assert put["left knee"].confidence == 1.0
    assert put["right knee"] is joints["right knee"]
    with pytest.raises(DesignError, match="no joint called 'left toe'"):
        with_joint_centres(joints, {"left toe": np.zeros(3)})


def test_a_shoulder_whose_arm_does_not_stand_clear_is_left_out(heavy: Body) -> None:
    marks = {k: v for k, v in heavy.landmarks.items() if k != "left armpit"}
    joints = find_joints(replace(heavy, landmarks=marks))
    assert "left shoulder" not in joints
    assert "right shoulder" in joints
