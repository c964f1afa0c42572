"""Undo and redo of a job's changes, by function and by command."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.errors import JobBusyError, JobError
from fitkit.job.job_folder import create_job, open_job
from fitkit.job.job_lock import job_lock
from fitkit.workflow.edit_job import add_row, list_rows, remove_row
from fitkit.workflow.step_edit import edits_to_step, step_edit

TEXT = """\
format = 1 # kept

[job]
name = "Heron"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return create_job(tmp_path / "heron", TEXT).folder


def add_level(folder: Path, name: str, height_mm: float) -> None:
    add_row(folder, "line", {"name": name, "kind": "level", "height_mm": height_mm})


def lines(folder: Path) -> list[str]:
    return [row["name"] for row in list_rows(folder, "line")]


def test_every_edit_of_a_new_job_comes_back_to_the_byte(folder: Path) -> None:
    add_level(folder, "waist", 1050)
    add_level(folder, "chest", 1250)
    remove_row(folder, "line", "waist")
    assert edits_to_step(folder).to_undo == "took out the line 'waist'"
    assert step_edit(folder, back=True).words == "taken back: took out the line 'waist'"
    assert lines(folder) == ["waist", "chest"]
    step_edit(folder, back=True)
    step_edit(folder, back=True)
    assert (folder / "job.toml").read_text(encoding="utf-8") == TEXT
    assert edits_to_step(folder).to_redo == "added the line 'waist'"
    assert step_edit(folder, back=False).words == "made again: added the line 'waist'"
    assert lines(folder) == ["waist"]


def test_nothing_to_take_back_is_told_and_leaves_no_trace(folder: Path) -> None:
    before = sorted(folder.rglob("*"))
    assert edits_to_step(folder).to_undo is None
    with pytest.raises(JobError, match="no change to take back"):
        step_edit(folder, back=True)
    assert sorted(folder.rglob("*")) == before


def test_a_text_that_cannot_be_read_is_taken_back(folder: Path) -> None:
    add_level(folder, "waist", 1050)
    path = folder / "job.toml"
    good = path.read_text(encoding="utf-8")
    path.write_text(good + "[[line]\n", encoding="utf-8")
    with pytest.raises(JobError):
        open_job(folder)
    assert step_edit(folder, back=True).words == "taken back: changed job.toml by hand"
    assert path.read_text(encoding="utf-8") == good


def test_a_refused_edit_is_not_remembered(folder: Path) -> None:
    add_level(folder, "waist", 1050)
    with pytest.raises(JobError):
        add_level(folder, "waist", 1100)
    assert edits_to_step(folder).to_undo == "added the line 'waist'"
    step_edit(folder, back=True)
    assert edits_to_step(folder).to_undo is None


def test_a_job_that_is_held_is_left_alone(folder: Path) -> None:
    add_level(folder, "waist", 1050)
    with job_lock(folder, doing="scan"), pytest.raises(JobBusyError):
        step_edit(folder, back=True)
    assert lines(folder) == ["waist"]


def test_a_change_kept_just_before_the_job_is_held_is_the_one_taken_back(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_level(folder, "waist", 1050)

    @contextmanager
    def late(job: Path, *, doing: str) -> Iterator[None]:
        add_level(folder, "hip", 900)
        with job_lock(job, doing=doing):
            yield

    monkeypatch.setattr("fitkit.workflow.step_edit.job_lock", late)
    assert step_edit(folder, back=True).words == "taken back: added the line 'hip'"
    assert lines(folder) == ["waist"]
    assert edits_to_step(folder).to_undo == "added the line 'waist'"


def test_commands_step_back_and_forward(folder: Path) -> None:
    add_level(folder, "waist", 1050)
    run = CliRunner().invoke
    undone = run(app, ["undo", str(folder)])
    assert (undone.exit_code, undone.stdout) == (0, "taken back: added the line 'waist'.\n")
    assert lines(folder) == []
    assert run(app, ["undo", str(folder)]).exit_code == 1
    assert run(app, ["redo", str(folder), "--json"]).exit_code == 0
    assert lines(folder) == ["waist"]
