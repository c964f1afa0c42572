"""`fitkit cut` shows the choices of relief cuts and takes one up."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.job.cut_choice_files import choices_name, cut_choice_file
from tests.workflow.quick_steps import job_folder
from tests.workflow.test_cut_job import CUTS, ONE, SPLIT

pytestmark = pytest.mark.usefixtures("calls")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    job = job_folder(tmp_path / "job")
    done = CliRunner().invoke(app, ["flatten", str(job)])
    assert done.exit_code == 0, done.stderr
    (job / "blanks" / choices_name("plate")).write_bytes(cut_choice_file((ONE, SPLIT, CUTS)))
    return job


def test_choices_are_shown_with_their_price(folder: Path) -> None:
    shown = CliRunner().invoke(app, ["cut", str(folder), "plate"])
    assert shown.exit_code == 0, shown.stderr
    lines = [line.strip() for line in shown.stdout.splitlines()]
    assert lines[:4] == [
        "plate",
        "1  one piece: 11.0 %, 2 anneals",
        "2  split in two: 4.0 %, 1 anneal, 80 mm of cuts",
        "3  2 cuts: 2.0 %, 61 mm of cuts",
    ]
    told = json.loads(CliRunner().invoke(app, ["cut", str(folder), "--json"]).stdout)
    assert [row["strain"] for row in told["patches"]["plate"]] == [0.11, 0.04, 0.02]


def test_one_is_taken_up_and_out_again(folder: Path) -> None:
    before = (folder / "job.toml").read_text(encoding="utf-8")
    done = CliRunner().invoke(app, ["cut", str(folder), "plate", "3"])
    assert done.exit_code == 0, done.stderr
    assert "'plate' takes 2 cuts" in done.stdout
    assert "cuts = [" in (folder / "job.toml").read_text(encoding="utf-8")
    done = CliRunner().invoke(app, ["cut", str(folder), "plate", "--none"])
    assert done.exit_code == 0, done.stderr
    assert (folder / "job.toml").read_text(encoding="utf-8") == before


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("plaet",), 1, "no patch called 'plaet'"),
        (("plate", "9"), 1, "no choice 9"),
        (("--none",), 2, "Name the patch"),
    ],
)
def test_what_is_wrong_is_told(folder: Path, words: tuple[str, ...], code: int, said: str) -> None:
    done = CliRunner().invoke(app, ["cut", str(folder), *words])
    assert done.exit_code == code
    assert said in done.stderr
