"""Joints of six whole bodies of known construction, and of one with a scan's roughness."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.limb_line import bend_mm, limb_line
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from tests.body.stand_ins import BUILDS, Build, assert_joint_centres, bust, figure
from tests.truth import solids
from tests.truth.mannequin import mannequin

JOINTS = {"elbow": ("forearm", 0.0), "wrist": ("forearm", 1.0), "knee": ("thigh", 1.0)}
JOINTS |= {"ankle": ("lower leg", 1.0)}
QUICK = [pytest.param(build, id=build.name) for build in (BUILDS[0], BUILDS[2])]
SLOW = [
    pytest.param(build, marks=pytest.mark.slow, id=build.name) for build in (BUILDS[1], *BUILDS[3:])
]


@lru_cache(maxsize=1)
def middle() -> Body:
    return body_of_mesh(figure(BUILDS[0]), settle=False)


def body_of(build: Build) -> Body:
    return middle() if build is BUILDS[0] else body_of_mesh(figure(build), settle=False)


def assert_joints_are_right(body: Body, build: Build, within_mm: float) -> None:
    true = build.joints()
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for name, (axis, end) in JOINTS.items():
            middle_mm = body.axis(f"{side} {axis}").point_at_mm(end)
            off = np.linalg.norm(middle_mm - true[name] * [sign, 1, 1])
            assert off < within_mm, (side, name, off)
            assert f"{side} {name}" in body.landmarks
    assert body.landmark("crotch").at_mm[2] == pytest.approx(build.crotch_mm(), abs=within_mm)
    assert body.landmark("crown").at_mm[2] == pytest.approx(build.stature_mm, abs=within_mm)


@pytest.mark.parametrize("build", [*QUICK, *SLOW])
def test_joints_of_six_builds_are_found_within_a_centimetre(build: Build) -> None:
    """The truth is the construction; 10 mm is about what two people differ by in marking them."""
    body = body_of(build)
    assert_joints_are_right(body, build, 10.0)
    assert_joint_centres(body, build, 10.0)


@pytest.mark.parametrize("build", [QUICK[1], *SLOW])
def test_joints_are_found_on_a_rough_scan_too(build: Build) -> None:
    """Roughness of 1.5 mm in every vertex, more than a scan of ours has."""
    mesh = figure(build)
    rough = np.random.default_rng(4).normal(0, 1.5, (len(mesh.vertices), 1))
    body = body_of_mesh(mesh.with_vertices(mesh.vertices + rough * mesh.vertex_normals()),
                        settle=False)  # fmt: skip
    assert_joints_are_right(body, build, 10.0)


def test_joint_landmarks_lie_on_the_skin_on_their_own_side() -> None:
    body = middle()
    names = [f"left {joint}" for joint in JOINTS] + ["crotch", "crown"]
    points = np.array([body.landmark(name).at_mm for name in names])
    # The crotch stands midway between the two thighs just below where they meet.
    assert nearest_on_mesh(body.mesh, points)[2].max() < 2.0
    knee, elbow = body.landmark("left knee").at_mm, body.landmark("left elbow").at_mm
    assert knee[1] < body.axis("left thigh").end_mm[1] - 30, "the knee is in front"
    assert elbow[1] > body.axis("left forearm").start_mm[1] + 20, "the elbow is at the back"
    for name in ("left ankle", "left wrist"):
        assert body.landmark(name).at_mm[0] > body.landmark("left knee").at_mm[0]
    assert all(0 < mark.confidence <= 1 for mark in body.landmarks.values())


def test_bodies_without_limbs_have_no_joints() -> None:
    for mesh in (bust(), mannequin()):
        body = body_of_mesh(mesh, settle=False)
        joints = [name for name in body.landmarks if name.split()[-1] in {*JOINTS, "crotch"}]
        assert joints == []


def bent_tube(joint: float, angle_rad: float) -> TriangleMesh:
    """Bend a tube along z at a way along it, straight bones on both sides."""
    tube = solids.cylinder(40, 600, 10)
    z = tube.vertices[:, 2] - tube.vertices[:, 2].min()
    points = np.column_stack([tube.vertices[:, :2], z])
    past = np.maximum(z - joint, 0.0)
    points[:, 0] += np.tan(angle_rad) * past
    return tube.with_vertices(points)


def test_a_plain_bend_is_found_where_it_is_against_what_is_usual() -> None:
    tube = bent_tube(340.0, 0.5)
    line = limb_line(tube, np.array([0.0, 0, 20]), np.array([0.0, 0, 1]))
    ways = line.along_mm
    assert line.centres_mm[-1, 2] > 560
    joint, sure = bend_mm(line, 0.0, float(ways[-1]), usual=0.5, spread=0.02)
    assert line.at_mm(joint)[0][2] == pytest.approx(340, abs=6)
    assert sure > 0.8


def test_on_a_straight_limb_the_usual_place_is_taken_and_called_unsure() -> None:
    tube = bent_tube(340.0, 0.0)
    line = limb_line(tube, np.array([0.0, 0, 20]), np.array([0.0, 0, 1]))
    joint, sure = bend_mm(line, 0.0, 500.0, usual=0.55, spread=0.02)
    assert joint == pytest.approx(275, abs=2)
    assert sure == pytest.approx(0.3, abs=0.05)
