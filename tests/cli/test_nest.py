"""`fitkit nest` tells what lies where, and exits 3 where it does not fit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app
from tests.workflow.quick_steps import JOB, job_folder
from tests.workflow.test_nest_job import STOCK

pytestmark = pytest.mark.usefixtures("calls")


def test_sheets_and_parts_are_listed(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", text=JOB + STOCK)
    done = CliRunner().invoke(app, ["nest", str(folder)])
    assert done.exit_code == 0, done.stderr
    assert "card: 3 parts on 300 × 100 mm" in done.stdout
    assert "plate, left" in done.stdout
    told = json.loads(CliRunner().invoke(app, ["nest", str(folder), "--json"]).stdout)
    assert [sheet["parts"] for sheet in told["sheets"]] == [[1, 2, 3]]
    assert told["steps"][-1]["ran"] is False
    pinned = CliRunner().invoke(app, ["nest", str(folder), "--pin", "belt"])
    assert "'belt' stays where it lies on 'card'" in pinned.stdout
    both = CliRunner().invoke(app, ["nest", str(folder), "--pin", "belt", "--release", "belt"])
    assert both.exit_code == 2


def test_what_does_not_fit_exits_with_three(tmp_path: Path) -> None:
    text = JOB + STOCK.replace("[300, 100]", "[180, 100]")
    folder = job_folder(tmp_path / "job", text=text)
    done = CliRunner().invoke(app, ["nest", str(folder)])
    assert done.exit_code == 3
    assert "It does not fit: short by 0.00 m²" in done.stdout
