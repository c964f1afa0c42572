"""Joints of bodies whose skeleton is known."""

from __future__ import annotations

import csv
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitkit.body.body import Body, SegmentAxis
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.joints import find_joints, hip_height_mm, with_joint_centres
from fitkit.body.skin_shares import skin_shares
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.motion.movement import movements_of
from fitkit.motion.pose import pose_of
from tests.body.stand_ins import BUILDS, assert_joint_centres, bust, figure

HEAVY = next(build for build in BUILDS if build.name == "heavy")
WITHIN_MM = 10.0
REPOSITORY = Path(__file__).resolve().parents[2]
ANSUR = Path(os.environ.get("FITKIT_SHARED_DATA", REPOSITORY.parent / "shared" / "data")) / "ansur2"


@pytest.fixture(scope="module")
def heavy() -> Body:
    return body_of_mesh(figure(HEAVY), settle=False)


def test_joint_centres_lie_within_10_mm_of_the_skeleton(heavy: Body) -> None:
    """The other builds: the limbs' own test."""
    assert_joint_centres(heavy, HEAVY, WITHIN_MM)


@pytest.mark.parametrize(
    ("group", "spread_mm", "crotch", "seat", "trochanter"),
    [("MALE", 12.9, 845.9, 887.9, 900.9), ("FEMALE", 12.1, 782.3, 833.7, 845.4)],
)
def test_a_hip_is_as_high_as_the_surveys_people_have_it(
    group: str, spread_mm: float, crotch: float, seat: float, trochanter: float
) -> None:
    """ANSUR II (2012): its means, and where its data are at hand every one of its people."""
    assert hip_height_mm(crotch, seat) == pytest.approx(trochanter, abs=3.0)
    people = ANSUR / f"ANSUR_II_{group}_Public.csv"
    if not people.exists():
        return
    names = [f"{name}height" for name in ("crotch", "buttock", "trochanterion")]
    with people.open(encoding="latin-1", newline="") as rows:
        own = np.array([[float(row[name]) for name in names] for row in csv.DictReader(rows)])
    assert own.mean(axis=0) == pytest.approx([crotch, seat, trochanter], abs=0.1)
    off = hip_height_mm(own[:, 0], own[:, 1]) - own[:, 2]
    assert off.std() == pytest.approx(spread_mm, abs=0.1)


def test_the_neck_of_a_heavy_body_is_found_above_its_shoulders(heavy: Body) -> None:
    neck = find_joints(heavy)["neck"].centre_mm
    assert neck[2] > heavy.landmark("left shoulder").at_mm[2] - 20.0
    assert abs(neck[0]) < 1.0


def test_a_body_has_the_joints_of_the_parts_it_has() -> None:
    """A bust has no arms to turn; its neck and spine move."""
    assert set(find_joints(body_of_mesh(bust()))) == {"spine", "neck"}


def test_a_forearm_by_itself_bends_at_elbow_and_wrist_and_turns_between() -> None:
    axis = SegmentAxis("left forearm", np.array([0.0, 0, 300]), np.array([0.0, 0, 60]))
    body = body_of_mesh(bust())
    part = Body(body.mesh, body.trust_mm, {"trunk": body.axis("trunk"), "left forearm": axis})
    assert set(find_joints(part)) == {"left elbow", "left forearm", "left wrist"}


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


def test_a_turning_forearm_twists_its_skin_evenly_from_elbow_to_wrist(heavy: Body) -> None:
    """Pronation: half way down the forearm the skin has gone half as far as the hand."""
    joints = find_joints(heavy)
    shares = skin_shares(heavy, joints)["left forearm"]
    elbow, wrist = (joints[f"left {name}"].centre_mm for name in ("elbow", "wrist"))
    for part in (0.25, 0.5, 0.75):
        place = elbow + part * (wrist - elbow)
        near = np.linalg.norm(heavy.mesh.vertices - place, axis=1) < 50.0
        assert shares[near].mean() == pytest.approx(part, abs=0.05)
    upper = np.linalg.norm(heavy.mesh.vertices - joints["left shoulder"].centre_mm, axis=1) < 70
    assert shares[upper].max() == 0.0


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
