"""Holes of what moves are on the templates once the joints have been swept, and missed before."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.job_plates import JobPlates
from fitkit.workflow.motion_job import motion_step
from fitkit.workflow.seats import moving_seats
from tests.workflow.elbow_job import TEXT, elbow_job

PIVOT = """
[[pivot]]
patch = "forearm sleeve"
joint = "left elbow"
"""


def test_holes_of_a_pivot_come_with_the_sweep_and_go_stale_with_it(tmp_path: Path) -> None:
    job = elbow_job(tmp_path)
    assert moving_seats(job, JobPlates(job), FileDigests(job.folder)) == ((), ())
    (tmp_path / "job.toml").write_text(TEXT + PIVOT, encoding="utf-8")
    job = open_job(tmp_path)
    seats, findings = moving_seats(job, JobPlates(job), FileDigests(job.folder))
    assert seats == ()
    (missing,) = findings
    assert missing.code == "moving-holes-missing"
    assert "fitkit motion" in missing.remedy
    motion_step(job, digests=FileDigests(job.folder))
    seats, findings = moving_seats(job, JobPlates(job), FileDigests(job.folder))
    assert findings == ()
    assert [(seat.patch, seat.twin, len(seat.holes_mm)) for seat in seats] == [
        ("forearm sleeve", False, 2)
    ]
    # On either side of the arm, at both ends of the hinge's line.
    assert np.abs(seats[0].holes_mm[:, 0]).min() > 46.0
    assert seats[0].holes_mm[:, 0].prod() < 0.0
    assert {seat.fixing.made_of for seat in seats} == {""}
    # What its screws are of is told without another sweep, and changes the templates.
    before = job.inputs("templates", FileDigests(job.folder))
    (tmp_path / "job.toml").write_text(TEXT + PIVOT + 'screw_metal = "Brass"\n', encoding="utf-8")
    job = open_job(tmp_path)
    seats, findings = moving_seats(job, JobPlates(job), FileDigests(job.folder))
    assert findings == ()
    assert {seat.fixing.made_of for seat in seats} == {"brass"}
    assert job.inputs("templates", FileDigests(job.folder)) != before
    (tmp_path / "job.toml").write_text(TEXT + PIVOT, encoding="utf-8")
    job = open_job(tmp_path)
    # The templates are of the sweep, so another sweep makes them stale.
    swept = job.inputs("templates", FileDigests(job.folder))["the result of motion"]
    assert swept != "none that holds"
    (tmp_path / "job.toml").write_text(TEXT + PIVOT + "screw_mm = 5\n", encoding="utf-8")
    changed = open_job(tmp_path)
    now = changed.inputs("templates", FileDigests(changed.folder))
    assert now["the result of motion"] == "none that holds"
