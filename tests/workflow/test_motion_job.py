"""Two sleeves on an arm: the elbow swept, the finding told, the trim offered and taken."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import InputError, JobError
from fitkit.job.job_folder import Job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.check_job import check_job
from fitkit.workflow.motion_job import motion_job, motion_step, ranges_of, trims_of
from fitkit.workflow.step_report import StepReport
from fitkit.workflow.trim_job import take_trim
from fitkit.workflow.trim_offers import offered_trims
from tests.workflow.elbow_job import TEXT, elbow_job


@pytest.fixture
def job(tmp_path: Path) -> Job:
    """Return a job whose body and patches are there, and nothing swept."""
    return elbow_job(tmp_path)


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, StepReport]:
    """Return such a job once swept, not to be altered, and what the sweep told."""
    job = elbow_job(tmp_path_factory.mktemp("swept"))
    return job, motion_step(job, digests=FileDigests(job.folder))


def test_the_sleeve_that_stops_the_elbow_is_named_with_the_angle_and_a_trim(
    swept: tuple[Job, StepReport],
) -> None:
    """Sheets of 1 mm, rims 25 mm from the hinge: 25 cos h - 47 sin h = (1 - 0.5) / 2."""
    job, report = swept
    assert report.words.endswith("ranges free")
    stopped = [finding for finding in report.findings if finding.code == "motion-stopped"]
    assert len(stopped) == 1
    half = np.arccos(0.25 / np.hypot(25, 47)) - np.arctan2(47, 25)
    assert stopped[0].number == pytest.approx(2 * np.degrees(half), abs=1.0)
    assert "stops the left elbow bend at 56°, wanted 110° (for lift a cup)" in stopped[0].message
    assert stopped[0].remedy.startswith("Trim ")
    assert stopped[0].remedy.endswith("then it is free.")
    names = {path.name for path in report.files}
    assert {"motion.json", "motion.csv", "joints.png", "ranges.png"} <= names
    assert "left-elbow-bend.png" in names
    bend = next(row for row in ranges_of(job.folder) if row.name == "left elbow bend")
    assert bend.wanted_deg == 110
    assert bend.trimmed_deg == 110
    # Each rim would also press into the arm beyond the joint.
    assert set(trims_of(job.folder)) == {"upper-arm sleeve", "forearm sleeve"}
    values = json.loads((job.folder / "motion" / "motion.json").read_text(encoding="utf-8"))
    carried = {plate["name"]: plate["rides_on"] for plate in values["plates"]}
    assert carried == {"upper-arm sleeve": "left upper arm", "forearm sleeve": "left forearm"}
    with (job.folder / "motion" / "motion.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["movement"] == "left elbow bend"]
    assert {rows[0]["plate"], rows[0]["meets"]} == {"forearm sleeve", "upper-arm sleeve"}
    again = motion_step(job, digests=FileDigests(job.folder))
    assert not again.ran
    found = [one for one in check_job(job.folder).findings if one.code == "motion-stopped"]
    assert found == stopped


def test_a_trim_of_an_older_state_or_of_another_patch_is_refused(
    job: Job, swept: tuple[Job, StepReport]
) -> None:
    with pytest.raises(JobError, match="not of the job as it is now"):
        take_trim(job.folder, "forearm sleeve")
    with pytest.raises(InputError, match="No trim is offered for 'gorget'"):
        take_trim(swept[0].folder, "gorget")
    assert open_job(swept[0].folder).text == job.text


def test_offers_are_of_the_last_sweep_and_go_stale_with_it(
    job: Job, swept: tuple[Job, StepReport]
) -> None:
    assert offered_trims(job, FileDigests(job.folder)) == {}
    offered = offered_trims(swept[0], FileDigests(swept[0].folder))
    assert offered["forearm sleeve"].frees == ("left elbow bend",)
    changed = swept[0].with_text(job.text.replace("= 110", "= 100"))
    assert offered_trims(changed, FileDigests(changed.folder)) == {}


def test_a_job_without_patches_has_nothing_to_move(tmp_path: Path) -> None:
    text = TEXT.split("[[patch]]")[0]
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(JobError, match="no plates to move"):
        motion_job(tmp_path)


def test_the_motion_is_made_only_when_asked_for(job: Job, swept: tuple[Job, StepReport]) -> None:
    assert "motion" not in {state.step for state in check_job(job.folder).states}
    assert "motion" in {state.step for state in check_job(swept[0].folder).states}
    changed = swept[0].with_text(job.text.replace("= 110", "= 100"))
    assert changed.state("motion").state == "stale"
    assert changed.state("patches").state == "fresh"


def with_text(job: Job, text: str) -> Job:
    """Return the job with another text, its body and patches kept as made from it."""
    changed = job.with_text(text)
    changed.keep_text()
    return open_job(changed.folder)


def test_a_pivot_is_put_where_the_plate_slides_best_and_its_holes_are_told(job: Job) -> None:
    """Turned about a line across it, a tube rises least about the line through its middle."""
    row = '\n[[pivot]]\npatch = "forearm sleeve"\njoint = "left elbow"\nscrew_mm = 5\n'
    swung = with_text(job, job.text.replace("= 110", "= 12") + row)
    motion_step(swung, digests=FileDigests(swung.folder))
    values = json.loads((job.folder / "motion" / "motion.json").read_text(encoding="utf-8"))
    (pivot,) = values["pivots"]
    assert (pivot["hole_mm"], pivot["washer_mm"], pivot["recess_mm"]) == (5.3, 15.0, 16.0)
    holes = np.array(pivot["holes_mm"])
    assert sorted(np.sign(holes[:, 0]).tolist()) == [-1.0, 1.0]
    assert np.abs(holes[:, 0]) == pytest.approx([47.0, 47.0], abs=1.0)
    assert holes[:, 2] == pytest.approx([177.5, 177.5], abs=6.0)
    carried = {plate["name"]: plate["rides_on"] for plate in values["plates"]}
    assert carried["forearm sleeve"] == "left upper arm"


def test_a_pivot_on_a_joint_that_is_not_there_is_refused(job: Job) -> None:
    row = '\n[[pivot]]\npatch = "forearm sleeve"\njoint = "left knee"\n'
    with pytest.raises(JobError, match="no joint 'left knee' for a pivot"):
        motion_step(with_text(job, job.text + row), digests=FileDigests(job.folder))
    assert not (job.folder / "motion").exists()
