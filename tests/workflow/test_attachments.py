"""What stands on a plate goes through the job like any part."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

# Bound to the real flattening before the quick steps stand in for it.
import fitkit.flatten.develop_attachment  # noqa: F401
from fitkit.errors import DesignError, JobError
from fitkit.job.designs import attachment_designs, patch_designs
from fitkit.job.flat_patch_files import read_flat_patch
from fitkit.job.job_folder import open_job
from fitkit.job.template_files import read_templates
from fitkit.workflow import make_job
from tests.workflow.quick_steps import JOB, job_folder

pytestmark = pytest.mark.usefixtures("calls")

TUBE = """
[[attachment]]
name = "left horn"
on = "plate"
at = {xyz_mm = [40, 0, 30]}
kind = "tube"
across_mm = 20
height_mm = 50
turn_deg = 90
tabs = 4
tab_mm = 10
"""


def test_tube_on_a_pair_of_plates_gets_two_templates_and_a_place(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", text=JOB + TUBE)
    make_job(folder, until="templates")
    templates = read_templates(folder / "templates")
    assert [(t.number, t.name) for t in templates] == [
        (1, "plate"),
        (2, "plate"),
        (3, "belt"),
        (4, "left horn"),
        (5, "right horn"),
    ]
    horn = templates[3]
    assert len(horn.drawing.holes) == 4
    assert np.ptp(horn.outline_mm[:, 1]) == pytest.approx(50.0 + 10.0, abs=0.1)
    settings = open_job(folder).settings
    (design,) = attachment_designs(settings)
    assert design.turn_rad == pytest.approx(np.pi / 2.0)
    flat = read_flat_patch(folder / "blanks", patch_designs(settings)[0])
    (mount,) = flat.mounts
    form_middle = np.array([40.0, 30.0])
    assert np.linalg.norm(mount.footprint_mm - form_middle, axis=1) == pytest.approx(9.75, abs=0.01)
    assert np.linalg.norm(mount.holes_mm - form_middle, axis=1) == pytest.approx(14.75, abs=0.05)
    reports = make_job(folder, until="templates")
    assert not any(report.ran for report in reports)


def test_only_its_own_plate_is_laid_flat_again(tmp_path: Path, calls: list[str]) -> None:
    folder = job_folder(tmp_path / "job", text=JOB + TUBE)
    make_job(folder, until="blanks")
    calls.clear()
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.replace("across_mm = 20", "across_mm = 22"))
    make_job(folder, until="blanks")
    assert calls == ["flatten plate"]


def test_what_does_not_fit_is_told_by_name(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", text=JOB + TUBE.replace("[40, 0, 30]", "[75, 0, 30]"))
    with pytest.raises(DesignError, match="tube 'left horn' hangs over the edge of 'plate'"):
        make_job(folder, until="blanks")
    for wrong, said in (
        (TUBE.replace('on = "plate"', 'on = "plaet"'), "no patch 'plaet'"),
        (TUBE.replace('"left horn"', '"belt"'), "taken by 'belt'"),
        (TUBE + "top_mm = 5\n", "Only a cone"),
        (TUBE + "taps = 5\n", "Did you mean 'tabs'?"),
    ):
        (folder / "job.toml").write_text(JOB + wrong, encoding="utf-8")
        with pytest.raises(JobError) as caught:
            open_job(folder)
        assert said in f"{caught.value.cause} {caught.value.remedy}"


@pytest.mark.parametrize("metal", ["copper", "tin"])
def test_screws_of_a_metal_that_none_are_sold_in_are_refused(tmp_path: Path, metal: str) -> None:
    folder = job_folder(tmp_path / "job", text=JOB + TUBE + f'screw_metal = "{metal}"\n')
    with pytest.raises(JobError, match="screw_metal") as told:
        open_job(folder)
    assert "brass" in f"{told.value.cause} {told.value.remedy}"
