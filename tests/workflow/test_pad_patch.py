"""A pad under one patch is a row of the job that follows the patch's place."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitkit.errors import JobError
from fitkit.job.job_folder import create_job, open_job
from fitkit.workflow.edit_job import change_row, rename_row
from fitkit.workflow.pad_patch import pad_patch, pad_under
from fitkit.workflow.step_edit import step_edit
from tests.workflow.test_design_view import TEXT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return create_job(tmp_path / "heron", TEXT).folder


def test_a_pad_is_laid_changed_and_taken_away(folder: Path) -> None:
    pad_patch(folder, "belly", 8.0)
    (pad,) = open_job(folder).settings.padding
    assert (pad.name, pad.thickness_mm) == ("pad under belly", 8.0)
    assert pad.lines == ["low", "high", "right", "left"]
    assert pad == pad_under(open_job(folder).settings, "belly")
    pad_patch(folder, "belly", 5.0)
    (pad,) = open_job(folder).settings.padding
    assert pad.thickness_mm == 5.0
    pad_patch(folder, "belly", None)
    assert open_job(folder).text.rstrip() == TEXT.rstrip()
    step_edit(folder, back=True)
    assert open_job(folder).settings.padding == [pad]


def test_the_pad_is_that_of_the_place_whatever_the_patch_is_called(folder: Path) -> None:
    pad_patch(folder, "belly", 8.0)
    rename_row(folder, "patch", "belly", "girdle")
    pad_patch(folder, "girdle", 6.0)
    (pad,) = open_job(folder).settings.padding
    assert (pad.name, pad.thickness_mm) == ("pad under belly", 6.0)


def test_the_pad_of_a_round_patch_is_round(folder: Path) -> None:
    pad_patch(folder, "belly", 8.0)
    change_row(folder, "patch", "belly", {"radius_mm": 40.0}, without=["lines"])
    pad_patch(folder, "belly", 8.0)  # of the same name, where the patch is now
    (pad,) = open_job(folder).settings.padding
    assert (pad.radius_mm, pad.lines) == (40.0, [])
    assert pad.centre is not None


def test_a_patch_without_lines_or_name_has_no_pad(folder: Path) -> None:
    change_row(folder, "patch", "belly", {}, without=["lines"])
    with pytest.raises(JobError, match="does not say which lines"):
        pad_patch(folder, "belly", 8.0)
    with pytest.raises(JobError, match="no patch called 'back'"):
        pad_patch(folder, "back", 8.0)
    assert pad_under(open_job(folder).settings, "back") is None
