"""What the room has done to a job by small edits: settings, the tape list, stock, the shelf."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitkit.errors import InputError, JobError
from fitkit.job.job_folder import open_job
from fitkit.workflow.edit_settings import change_setting, change_tape, read_job_settings
from fitkit.workflow.edit_stock import add_stock, remove_stock
from fitkit.workflow.job_shelf import free_folder, shelved_jobs
from fitkit.workflow.start_job import start_job
from fitkit.workflow.step_edit import step_edit
from fitkit.workflow.watch_job import job_stamp


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    start_job(tmp_path / "heron", name="Heron", wearer="Robin")
    return tmp_path / "heron"


def test_the_tape_list_is_set_changed_and_taken_back(folder: Path) -> None:
    before = (folder / "job.toml").read_text(encoding="utf-8")
    change_tape(folder, "left  upper arm", "30.2 cm")
    change_tape(folder, "chest", "980")
    assert read_job_settings(folder)["wearer"]["tape"] == {"left upper arm": 302.0, "chest": 980.0}
    change_tape(folder, "chest", " ")
    assert read_job_settings(folder)["wearer"]["tape"] == {"left upper arm": 302.0}
    for _ in range(3):
        step_edit(folder, back=True)
    assert (folder / "job.toml").read_text(encoding="utf-8") == before


@pytest.mark.parametrize(("measure", "length"), [("chest", "wide"), ("", "98 cm"), ("chest", "-3")])
def test_what_is_no_measure_leaves_the_job_as_it_was(
    folder: Path, measure: str, length: str
) -> None:
    before = (folder / "job.toml").read_bytes()
    with pytest.raises((InputError, JobError)):
        change_tape(folder, measure, length)
    assert (folder / "job.toml").read_bytes() == before


def test_a_setting_that_does_not_hold_together_is_not_written(folder: Path) -> None:
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(JobError):
        change_setting(folder, "print", "paper", "A9", words="paper A9")
    assert (folder / "job.toml").read_bytes() == before
    change_setting(folder, "print", "paper", "A3", words="paper A3")
    assert read_job_settings(folder)["print"]["paper"] == "A3"
    change_setting(folder, "print", "paper", None, words="paper as usual")
    assert read_job_settings(folder)["print"]["paper"] == "A4"


def test_stock_is_named_by_what_it_is_and_each_row_apart(folder: Path) -> None:
    sheet = {"material": "aluminium", "thickness_mm": 1.0, "size_mm": [1000.0, 500.0]}
    add_stock(folder, {**sheet, "quantity": 2})
    add_stock(folder, {**sheet, "to_buy": True})
    assert [row.name for row in open_job(folder).settings.stock] == [
        "aluminium 1 mm",
        "aluminium 1 mm 2",
    ]
    remove_stock(folder, "aluminium 1 mm")
    assert [row.to_buy for row in open_job(folder).settings.stock] == [True]
    with pytest.raises(JobError):
        remove_stock(folder, "tin")


def test_the_shelf_tells_jobs_newest_first_and_which_has_a_fault(
    folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "not a job").mkdir()
    start_job(tmp_path / "other", name="Other")
    (tmp_path / "other" / "job.toml").write_text("format = ", encoding="utf-8")
    jobs = {job.folder: job for job in shelved_jobs(tmp_path)}
    assert set(jobs) == {folder, tmp_path / "other"}
    assert (jobs[folder].name, jobs[folder].wearer, jobs[folder].fault) == ("Heron", "Robin", "")
    assert jobs[tmp_path / "other"].fault


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("Heron Warden", "heron-warden"),
        ("../../etc/passwd", "etc-passwd"),
        ("/", "job"),
        ("Höhe 9", "hohe-9"),
        ("con\0sole", "con-sole"),
        ("x" * 300, "x" * 40),
    ],
)
def test_a_job_never_leaves_its_shelf_whatever_it_is_called(
    tmp_path: Path, name: str, stem: str
) -> None:
    assert free_folder(tmp_path, name) == tmp_path / stem
    (tmp_path / stem).mkdir()
    assert free_folder(tmp_path, name) == tmp_path / f"{stem}-2"


def test_the_stamp_changes_with_the_job_and_not_by_being_read(folder: Path) -> None:
    before = job_stamp(folder)
    read_job_settings(folder)
    assert job_stamp(folder) == before
    change_tape(folder, "chest", "98 cm")
    assert job_stamp(folder) != before
