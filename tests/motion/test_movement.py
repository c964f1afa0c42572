"""Movements go the way their names say, start where the body stands, and end at a norm."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.joints import Joint
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.motion.asked_range import NEEDS, asked_ranges
from fitkit.motion.movement import movements_of
from fitkit.motion.pose import pose_of
from fitkit.motion.range_norms import NORMS, SOURCES
from fitkit.motion.riding_plate import segment_shares

DOWN, UP, FRONT = np.array([0.0, 0, -1]), np.array([0.0, 0, 1]), np.array([0.0, -1, 0])


def joint(name: str, holds: str, moves: str, bone: Floats, at: tuple[float, ...]) -> Joint:
    return Joint(name, np.array(at, dtype=float), holds, moves, bone, bone, 40.0, 1.0, "told")


def skeleton() -> dict[str, Joint]:
    rows = [
        joint("spine", "pelvis", "chest", UP, (0, 0, 1000)),
        joint("neck", "chest", "head", UP, (0, 0, 1400)),
    ]
    for side, x in (("left", 1.0), ("right", -1.0)):
        rows += [
            joint(f"{side} shoulder", "chest", f"{side} upper arm", DOWN, (x * 180, 0, 1350)),
            joint(
                f"{side} elbow", f"{side} upper arm", f"{side} forearm", DOWN, (x * 180, 0, 1050)
            ),
            joint(f"{side} forearm", f"{side} forearm", f"{side} wrist", DOWN, (x * 180, 0, 925)),
            joint(f"{side} wrist", f"{side} wrist", f"{side} hand", DOWN, (x * 180, 0, 800)),
            joint(f"{side} hip", "pelvis", f"{side} thigh", DOWN, (x * 90, 0, 900)),
            joint(f"{side} knee", f"{side} thigh", f"{side} lower leg", DOWN, (x * 90, 0, 480)),
            joint(f"{side} ankle", f"{side} lower leg", f"{side} foot", FRONT, (x * 90, 0, 80)),
        ]
    return {one.name: one for one in rows}


# Where a place a hand's breadth beyond the joint goes: forward (-y), left (+x), up.
@pytest.mark.parametrize(
    ("movement", "way"),
    [
        ("neck bend forward", (0, -1, 0)),
        ("neck tilt left", (1, 0, 0)),
        ("spine bend back", (0, 1, 0)),
        ("left shoulder lift forward", (0, -1, 0)),
        ("left shoulder lift sideways", (1, 0, 0)),
        ("right shoulder lift sideways", (-1, 0, 0)),
        ("left shoulder lift back", (0, 1, 0)),
        ("left elbow bend", (0, -1, 0)),
        ("right wrist bend", (1, 0, 0)),
        ("left hip bend", (0, -1, 0)),
        ("right hip spread", (-1, 0, 0)),
        ("left hip close", (-1, 0, 0)),
        ("left knee bend", (0, 1, 0)),
        ("left ankle lift toes", (0, 0, 1)),
        ("right ankle point toes", (0, 0, -1)),
    ],
)
def test_a_movement_goes_the_way_its_name_says(movement: str, way: tuple[int, int, int]) -> None:
    joints = skeleton()
    moved = movements_of(joints)[movement]
    own = joints[moved.joint]
    beyond = own.centre_mm + 100.0 * own.bone
    pose = pose_of(joints, [(moved, np.radians(20.0))])
    gone = pose.carried({own.name: 1.0}).apply(beyond) - beyond
    assert gone @ np.array(way) == pytest.approx(100.0 * np.sin(np.radians(20.0)))


@pytest.mark.parametrize(("side", "sign"), [("left", 1.0), ("right", -1.0)])
def test_turning_an_arm_in_brings_its_front_to_the_middle(side: str, sign: float) -> None:
    joints = skeleton()
    turn_in = movements_of(joints)[f"{side} shoulder turn in"]
    front = joints[f"{side} elbow"].centre_mm + 50.0 * FRONT
    carried = pose_of(joints, [(turn_in, np.radians(30.0))]).carried({f"{side} shoulder": 1.0})
    assert sign * (carried.apply(front) - front)[0] == pytest.approx(-25.0)


@pytest.mark.parametrize(("side", "sign"), [("left", 1.0), ("right", -1.0)])
def test_a_palm_turned_down_shows_its_back_when_the_arm_hangs(side: str, sign: float) -> None:
    """Pronation from the thumb in front: the palm, which faced the thigh, faces back."""
    joints = skeleton()
    down = movements_of(joints)[f"{side} forearm turn palm down"]
    wrist = joints[f"{side} wrist"].centre_mm
    palm = wrist + np.array([-sign * 30.0, 0.0, 0.0])
    pose = pose_of(joints, [(down, np.radians(80.0))])
    turned = pose.carried({f"{side} forearm": 1.0}).apply(palm) - wrist
    assert turned[1] == pytest.approx(30.0 * np.sin(np.radians(80.0)))
    half = pose.carried({f"{side} forearm": 0.5}).apply(palm) - wrist
    assert half[1] == pytest.approx(30.0 * np.sin(np.radians(40.0)))
    assert NORMS[down.kind].by_source["AAOS"] == 80


def test_a_turn_to_the_left_takes_the_nose_to_the_left() -> None:
    joints = skeleton()
    nose = np.array([0.0, -100.0, 1500.0])
    turned = pose_of(joints, [(movements_of(joints)["neck turn left"], np.radians(90.0))])
    assert turned.carried({"neck": 1.0}).apply(nose) == pytest.approx([100.0, 0.0, 1500.0])


def test_angles_count_from_hanging_arms_and_straight_limbs() -> None:
    lifted = np.array([np.sin(0.4), 0.0, -np.cos(0.4)])
    arm = joint("left shoulder", "chest", "left upper arm", lifted, (180, 0, 1350))
    bent = np.array([0.0, -np.sin(0.3), -np.cos(0.3)])
    elbow = Joint("left elbow", np.array([180.0, 0, 1050]), "left upper arm", "left forearm", bent,
                  DOWN, 30.0, 1.0, "told")  # fmt: skip
    found = movements_of({one.name: one for one in (arm, elbow)})
    assert found["left shoulder lift sideways"].at_rest_rad == pytest.approx(0.4)
    assert found["left shoulder lift forward"].at_rest_rad == pytest.approx(0.0)
    assert found["left elbow bend"].at_rest_rad == pytest.approx(0.3)
    swept = {one.name: one for one in asked_ranges(found)}["left elbow bend"]
    assert np.degrees(swept.angle_rad(1.0)) == pytest.approx(150.0)
    assert swept.turn_rad == pytest.approx(np.radians(150.0) - 0.3)


def test_a_limb_goes_with_every_joint_between_it_and_the_trunk() -> None:
    joints = skeleton()
    assert set(segment_shares(joints, "left hand")) == {
        "left wrist", "left forearm", "left elbow", "left shoulder", "spine",
    }  # fmt: skip
    assert segment_shares(joints, "pelvis") == {}
    with pytest.raises(DesignError, match="no segment called 'tail'"):
        segment_shares(joints, "tail")


def test_bent_together_elbow_and_shoulder_carry_the_hand_as_two_hinges_do() -> None:
    """Upper arm 300 lifted level, forearm 250 bent up: the wrist is in front and above."""
    joints = skeleton()
    moves = movements_of(joints)
    pose = pose_of(
        joints,
        [(moves[f"left {name}"], np.radians(90.0)) for name in ("shoulder lift forward",
                                                               "elbow bend")],
    )  # fmt: skip
    wrist = pose.carried(segment_shares(joints, "left forearm")).apply(
        joints["left wrist"].centre_mm
    )
    assert wrist == pytest.approx([180.0, -300.0, 1350.0 + 250.0])


def test_norms_are_those_of_the_sources() -> None:
    """AAOS 1965 and AMA Guides as a goniometry reference gives them; Soucie et al. from memory."""
    assert NORMS["elbow bend"].by_source["AAOS"] == 150
    assert NORMS["knee bend"].by_source["AAOS"] == 135
    assert NORMS["shoulder lift sideways"].by_source["AMA"] == 170
    assert NORMS["knee bend"].by_source["CDC"] == pytest.approx((141.9 + 137.7) / 2)
    assert NORMS["hip bend"].confidence == "from memory"
    kinds = {movement.kind for movement in movements_of(skeleton()).values()}
    assert kinds - set(NORMS) == {"shoulder reach across"}
    for norm in NORMS.values():
        assert set(norm.by_source) <= set(SOURCES)


def test_a_silent_source_gives_way_to_another_by_its_name() -> None:
    because = {
        one.name: one.because for one in asked_ranges(movements_of(skeleton()), source="CDC")
    }
    assert because["left knee bend"] == "norm, CDC"
    assert because["spine turn left"] == "norm, AAOS"


def test_what_is_wanted_goes_before_needs_and_needs_before_norms() -> None:
    moves = movements_of(skeleton())
    norms = {one.name: one for one in asked_ranges(moves)}
    assert np.degrees(norms["left knee bend"].angle_rad(1.0)) == pytest.approx(135.0)
    assert norms["left knee bend"].because == "norm, AAOS"
    seated = {one.name: one for one in asked_ranges(moves, needs=["sit"])}
    assert set(seated) == {"left hip bend", "right hip bend", "left knee bend", "right knee bend",
                           "spine bend forward", "sit"}  # fmt: skip
    assert seated["left knee bend"].because == "for sit"
    assert len(seated["sit"].movements) == 5
    own = asked_ranges(moves, needs=["sit"], wanted_deg={"knee bend": 120.0})
    assert np.degrees({one.name: one for one in own}["right knee bend"].angle_rad(1.0)) == (
        pytest.approx(120.0)
    )
    across = {one.name for one in asked_ranges(moves, needs=["reach across"])}
    assert {"reach across, left", "reach across, right"} <= across


def test_unknown_needs_and_movements_are_refused_with_those_there_are() -> None:
    moves = movements_of(skeleton())
    with pytest.raises(DesignError, match="no need called 'fly'") as error:
        asked_ranges(moves, needs=["fly"])
    assert all(need in error.value.remedy for need in NEEDS)
    with pytest.raises(DesignError, match="no movement called 'knee twist'"):
        asked_ranges(moves, wanted_deg={"knee twist": 10.0})
