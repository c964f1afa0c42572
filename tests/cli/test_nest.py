"""`fitkit nest` tells what lies where, and exits 3 where it does not fit."""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.cli.nest_command import _stopped_by_hand
from tests.workflow.quick_steps import JOB, job_folder
from tests.workflow.test_nest_job import STOCK

pytestmark = pytest.mark.usefixtures("calls")


def test_sheets_and_parts_are_listed(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", text=JOB + STOCK)
    done = CliRunner().invoke(app, ["nest", str(folder)])
    assert done.exit_code == 0, done.stderr
    assert "card: 3 parts on 300 × 100 mm" in done.stdout
    assert "plate, left" in done.stdout
    assert "In all 3 parts, 0.8 m cut, 5 g. What the parts take costs" in done.stdout
    told = json.loads(CliRunner().invoke(app, ["nest", str(folder), "--json"]).stdout)
    assert [sheet["parts"] for sheet in told["sheets"]] == [[1, 2, 3]]
    assert told["steps"][-1]["ran"] is False
    assert told["sums"].startswith("In all 3 parts")
    pinned = CliRunner().invoke(app, ["nest", str(folder), "--pin", "belt"])
    assert "'belt' stays where it lies on 'card'" in pinned.stdout
    both = CliRunner().invoke(app, ["nest", str(folder), "--pin", "belt", "--release", "belt"])
    assert both.exit_code == 2


def test_what_does_not_fit_exits_with_three(tmp_path: Path) -> None:
    text = JOB + STOCK.replace("[300, 100]", "[180, 100]")
    folder = job_folder(tmp_path / "job", text=text)
    done = CliRunner().invoke(app, ["nest", str(folder)])
    assert done.exit_code == 3
    assert "It does not fit: short by 48 cm²" in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="needs kill")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_asked_to_stop_once_it_ends_in_its_own_time_and_twice_at_once(number: int) -> None:
    before = signal.getsignal(number)
    with _stopped_by_hand() as cancelled:
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), number)
        assert not cancelled()
        os.kill(os.getpid(), number)
        assert cancelled()
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), number)
    assert signal.getsignal(number) is before
