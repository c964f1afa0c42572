"""`fitkit adapt` prints what was wanted, before and after, and says what is missing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app

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
