"""`fitkit adapt` prints what was wanted, before and after, and says what is missing."""

from __future__ import annotations

import json
from importlib import import_module
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.workflow.step_report import StepReport

JOB = """\
format = 1
[job]
name = "Heron"
[wearer.tape]
chest = 960
[body]
from_tape = "women"
"""
PNG = b"\x89PNG drawn elsewhere"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("fitkit.export.body_picture.png_of_body", lambda *_, **__: PNG)
    monkeypatch.setattr("fitkit.export.change_picture.png_of_change", lambda *_, **__: PNG)
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    return tmp_path


def test_the_table_is_printed_and_given_as_json(folder: Path) -> None:
    shown = CliRunner().invoke(app, ["adapt", str(folder)])
    assert shown.exit_code == 0, shown.stderr
    (row,) = [line for line in shown.stdout.splitlines() if line.startswith("chest ")]
    assert [float(cell) for cell in row.split()[1:]] == pytest.approx([960.0] * 3 + [0.0], abs=0.2)
    assert "adapted.png" in shown.stdout
    told = json.loads(CliRunner().invoke(app, ["adapt", str(folder), "--json"]).stdout)
    assert [measure["name"] for measure in told["measures"]] == ["chest"]
    assert [step["ran"] for step in told["steps"]] == [False]


def test_an_empty_tape_list_is_told_with_a_remedy(folder: Path) -> None:
    path = folder / "job.toml"
    path.write_text(JOB.replace("chest = 960\n", ""), encoding="utf-8")
    done = CliRunner().invoke(app, ["adapt", str(folder)])
    assert done.exit_code == 1
    assert "is empty" in done.stderr
    assert "[wearer.tape]" in done.stderr


def test_a_stand_in_is_asked_for_at_the_start(tmp_path: Path) -> None:
    words = ["start", str(tmp_path / "guard"), "--wearer", "Mira", "--tape", "chest=96 cm"]
    done = CliRunner().invoke(app, [*words, "--from-tape", "women", "--part", "left arm"])
    assert done.exit_code == 0, done.stderr
    assert "fitkit body" in done.stdout
    text = (tmp_path / "guard" / "job.toml").read_text(encoding="utf-8")
    assert 'from_tape = "women"' in text
    assert 'tape_part = "left arm"' in text


@pytest.mark.parametrize(
    ("told", "answer"),
    [
        (["--from-tape", "children"], "men or women"),
        (["--from-tape", "men", "--part", "tail"], "whole body"),
        (["--part", "head"], "--from-tape"),
    ],
)
def test_a_stand_in_asked_for_wrongly_is_refused_before_a_folder_is_made(
    tmp_path: Path, told: list[str], answer: str
) -> None:
    done = CliRunner().invoke(app, ["start", str(tmp_path / "guard"), "--wearer", "Mira", *told])
    assert done.exit_code == 2
    assert answer in done.stderr
    assert not (tmp_path / "guard").exists()


def test_at_a_terminal_the_unit_of_a_mesh_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A ball 60 across may be in centimetres or in inches; the answer goes into the job."""
    from fitkit.geometry.mesh_files import write_mesh
    from tests.truth import solids

    write_mesh(tmp_path / "ball.stl", solids.sphere(30, 6))
    asked: dict[str, object] = {}

    def made(*_: object, **told: object) -> tuple[StepReport, ...]:
        asked.update(told)
        return (StepReport("body", ran=True, words="a ball"),)

    front = import_module("fitkit.cli.app")
    monkeypatch.setattr(front, "_somebody_is_there", lambda **_: True)
    monkeypatch.setattr("typer.prompt", lambda *_, **__: "cm")
    monkeypatch.setattr(import_module("fitkit.workflow.body_job"), "body_job", made)
    done = CliRunner().invoke(app, ["body", str(tmp_path), str(tmp_path / "ball.stl")])
    assert asked.get("unit") == "cm", done.output
    assert "likeliest" in done.stderr
    assert f"with: fitkit measure {tmp_path}" in " ".join(done.output.split())
