"""A trim on offer is drawn as a line of its own and the patch ends there, all round too."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from fitkit.job.body_files import body_files
from fitkit.job.designs import patch_designs
from fitkit.job.job_folder import Job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.job.motion_files import MOTION_FILE
from fitkit.job.patch_files import read_patch
from fitkit.patch.patch import Patch
from fitkit.workflow.make_job import make_job
from fitkit.workflow.motion_job import ranges_of, trims_of
from fitkit.workflow.trim_job import take_trim
from tests.workflow.elbow_job import arm

TEXT = """\
format = 1

[job]
name = "Arm"

[body]
from_mesh = "arm.ply"

[form]
clearance_mm = 6

[motion]
needs = ["lift a cup"]
keep = ["upper-arm sleeve"]

[[need]]
name = "lift a cup"
takes = { "elbow bend" = 75 }
"""
LEVELS = {"top": 520, "upper rim": 325, "lower rim": 275, "cuff": 80}
SLEEVES = {"upper-arm sleeve": ("top", "upper rim", 420), "forearm sleeve":
           ("lower rim", "cuff", 180)}  # fmt: skip


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an arm in two sleeves, swept; the body stands in for what its step would make."""
    folder = tmp_path_factory.mktemp("arm")
    lines = [
        f'\n[[line]]\nname = "{name}"\nkind = "level"\nheight_mm = {height}\n'
        for name, height in LEVELS.items()
    ]
    patches = [
        f'\n[[patch]]\nname = "{name}"\nlines = ["{one}", "{two}"]\nthickness_mm = 1\n'
        f"inside = {{ height_mm = {height}, bearing_deg = 90 }}\n"
        for name, (one, two, height) in SLEEVES.items()
    ]
    (folder / "job.toml").write_text(TEXT + "".join([*lines, *patches]), encoding="utf-8")
    job = open_job(folder)
    digests = FileDigests(job.folder)
    job.keep_result("body", body_files(arm()), inputs=job.inputs("body", digests), digests=digests)
    make_job(folder, until="motion")
    return folder


@pytest.fixture
def job(swept: Path, tmp_path: Path) -> Job:
    """Return a copy of it to alter."""
    return open_job(Path(shutil.copytree(swept, tmp_path / "arm")))


def worn(job: Job, name: str) -> Patch:
    design = next(one for one in patch_designs(job.settings) if one.name == name)
    return read_patch(job.result_folder("patches"), design)


def test_a_trim_taken_frees_what_it_said_when_swept_again(job: Job) -> None:
    before = worn(job, "forearm sleeve")
    assert trims_of(job.folder) == ("forearm sleeve",)
    assert next(iter(ranges_of(job.folder))).free_deg < 60
    report = take_trim(job.folder, "forearm sleeve")
    assert "'forearm sleeve' ends at 'forearm sleeve trim' now" in report.words
    make_job(job.folder, until="motion")
    trimmed = open_job(job.folder)
    assert {row.name for row in trimmed.settings.patch} == set(SLEEVES)
    assert 0 < before.mesh.area_mm2() - worn(trimmed, "forearm sleeve").mesh.area_mm2() < 12e3
    assert all(row.free_deg == row.wanted_deg for row in ranges_of(job.folder))
    assert trims_of(job.folder) == ()


def test_a_trim_all_round_is_a_closed_line(job: Job) -> None:
    """What is left of the sleeve reaches from the cuff up to 240 mm, all round."""
    before = worn(job, "forearm sleeve")
    turn = np.linspace(0.0, 2 * np.pi, 73)
    radius = float(np.hypot(*before.mesh.vertices[:, :2].T).mean())
    line = np.stack([radius * np.sin(turn), -radius * np.cos(turn), np.full(73, 240.0)], axis=1)
    line[-1] = line[0]
    folder = job.result_folder("motion")
    values = json.loads((folder / MOTION_FILE).read_text(encoding="utf-8"))
    values["trims"][0] |= {"lines_mm": [line.tolist()], "inside_mm": [radius, 0.0, 160.0]}
    digests = FileDigests(job.folder)
    job.keep_result(
        "motion",
        {MOTION_FILE: json.dumps(values).encode()},
        inputs=job.inputs("motion", digests),
        digests=digests,
    )
    take_trim(job.folder, "forearm sleeve")
    make_job(job.folder, until="patches")
    trimmed = open_job(job.folder)
    drawn = next(row for row in trimmed.settings.line if row.name == "forearm sleeve trim")
    assert drawn.closed
    sleeve = worn(trimmed, "forearm sleeve").mesh
    assert sleeve.bounds_mm()[:, 2] == pytest.approx([80.0, 240.0], abs=0.5)
    assert sleeve.area_mm2() == pytest.approx(2 * np.pi * radius * 160.0, rel=0.01)
