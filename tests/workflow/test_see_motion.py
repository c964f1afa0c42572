"""What the sweep found as it is looked at: ranges, trims, needs, the body posed with its plates."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import InputError, JobError
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.motion_job import motion_step
from fitkit.workflow.motion_wishes import keep_untrimmed, ride_on, want_angle, want_need
from fitkit.workflow.see_motion import (
    SeenMotion,
    known_needs,
    pose_body,
    read_moving_body,
    see_motion,
)
from fitkit.workflow.start_job import start_job
from fitkit.workflow.step_edit import step_edit
from tests.workflow.elbow_job import elbow_job

ELBOW_MM = np.array([0.0, 0.0, 300.0])


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the job of two sleeves on an arm, its elbow swept; not to be changed."""
    folder = tmp_path_factory.mktemp("arm")
    motion_step(elbow_job(folder), digests=FileDigests(folder))
    return folder


@pytest.fixture
def seen(swept: Path) -> SeenMotion:
    motion = see_motion(swept)
    assert motion is not None
    return motion


def test_the_stopped_range_and_the_trims_are_seen(seen: SeenMotion) -> None:
    (bend,) = [one for one in seen.ranges if one.name == "left elbow bend"]
    assert (bend.joint, bend.rest_deg, bend.wanted_deg) == ("left elbow", 0.0, 110.0)
    assert bend.free_deg == pytest.approx(56.0, abs=1.0)
    assert bend.trimmed_deg == 110.0
    assert bend.contacts[0].angle_deg == pytest.approx(bend.free_deg, abs=0.1)
    assert bend.part(bend.angle_deg(0.25)) == pytest.approx(0.25)
    assert {trim.patch for trim in seen.trims} == {"upper-arm sleeve", "forearm sleeve"}
    assert all("left elbow bend" in trim.frees for trim in seen.trims)
    assert seen.rides == {
        "upper-arm sleeve": "left upper arm",
        "forearm sleeve": "left forearm",
    }
    assert seen.fresh


def test_the_body_is_posed_as_far_as_asked_with_the_contacts_by_then(
    swept: Path, seen: SeenMotion
) -> None:
    """At the end of 110 degrees the forearm sleeve has turned by that about the elbow's axis."""
    moving = read_moving_body(swept)
    assert moving is not None
    (bend,) = [one for one in seen.ranges if one.name == "left elbow bend"]
    rest, end = pose_body(moving, bend, 0.0), pose_body(moving, bend, 1.0)
    assert rest.touches == ()
    assert {contact.plate for contact, _ in end.touches} <= set(end.plates)
    assert len(end.touches) == len(bend.contacts)
    before = rest.plates["forearm sleeve"].vertices - ELBOW_MM
    after = end.plates["forearm sleeve"].vertices - ELBOW_MM
    np.testing.assert_allclose(
        np.linalg.norm(after, axis=1), np.linalg.norm(before, axis=1), atol=1e-6
    )
    down, now = before.mean(axis=0), after.mean(axis=0)
    cos = down @ now / np.linalg.norm(down) / np.linalg.norm(now)
    assert np.degrees(np.arccos(cos)) == pytest.approx(110.0, abs=0.5)
    still = end.plates["upper-arm sleeve"].vertices
    np.testing.assert_allclose(still, rest.plates["upper-arm sleeve"].vertices, atol=1e-9)
    for contact, at_mm in end.touches:
        near = np.linalg.norm(end.plates[contact.plate].vertices - at_mm, axis=1).min()
        assert near < 8.0, "on the plate, between its vertices"
    first = pose_body(moving, bend, bend.part(bend.free_deg))
    assert [contact for contact, _ in first.touches] == [bend.contacts[0]]
    assert end.body.vertices.shape == rest.body.vertices.shape


def test_needs_say_which_joints_the_body_does_not_show(swept: Path, seen: SeenMotion) -> None:
    needs = {need.name: need for need in known_needs(swept, seen)}
    assert needs["lift a cup"].wanted
    assert needs["lift a cup"].missing == ()
    assert needs["sit"].missing == ("hip", "knee", "spine")
    assert not needs["sit"].wanted
    assert all(need.missing == () for need in known_needs(swept, None))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return elbow_job(tmp_path).folder


def test_a_job_that_was_not_swept_shows_nothing(tmp_path: Path, folder: Path) -> None:
    assert see_motion(folder) is None
    start_job(tmp_path / "bare")
    assert read_moving_body(tmp_path / "bare") is None


def test_wishes_are_told_and_taken_back(folder: Path) -> None:
    before = (folder / "job.toml").read_bytes()
    want_need(folder, "sit", wanted=True)
    want_need(folder, "sit", wanted=True)
    want_angle(folder, "left elbow bend", "95,5 °")
    keep_untrimmed(folder, "forearm sleeve", keep=True)
    ride_on(folder, "forearm sleeve", "left upper arm")
    told = open_job(folder).settings.motion
    assert told.needs == ["lift a cup", "sit"]
    assert told.wanted == {"left elbow bend": 95.5}
    assert told.keep == ["forearm sleeve"]
    assert told.rides == {"forearm sleeve": "left upper arm"}
    want_need(folder, "lift a cup", wanted=False)
    want_angle(folder, "left elbow bend", " ")
    keep_untrimmed(folder, "forearm sleeve", keep=False)
    ride_on(folder, "forearm sleeve", "")
    told = open_job(folder).settings.motion
    assert (told.needs, told.wanted, told.keep, told.rides) == (["sit"], {}, [], {})
    while (folder / "job.toml").read_bytes() != before:
        step_edit(folder, back=True)


@pytest.mark.parametrize("degrees", ["far", "-20", "400"])
def test_what_is_no_angle_leaves_the_job_as_it_was(folder: Path, degrees: str) -> None:
    before = (folder / "job.toml").read_bytes()
    with pytest.raises((InputError, JobError)):
        want_angle(folder, "left elbow bend", degrees)
    assert (folder / "job.toml").read_bytes() == before


def test_a_range_that_is_not_asked_for_any_more_cannot_be_posed(
    folder: Path, seen: SeenMotion
) -> None:
    moving = read_moving_body(folder)
    assert moving is not None
    bend = seen.ranges[0]
    want_need(folder, "lift a cup", wanted=False)
    want_need(folder, "sit", wanted=True)
    moving = read_moving_body(folder)
    assert moving is not None
    with pytest.raises(JobError, match="not asked for any more"):
        pose_body(moving, bend, 1.0)
