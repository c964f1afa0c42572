"""A check shows every finding and runs nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitkit.findings import Severity
from fitkit.workflow import check_job, make_job
from tests.workflow.quick_steps import JOB, job_folder, tree


def test_nothing_runs_and_nothing_changes(tmp_path: Path, calls: list[str]) -> None:
    folder = job_folder(tmp_path / "job")
    before = tree(folder)
    check = check_job(folder)
    assert {state.state for state in check.states} == {"missing"}
    assert calls == []
    assert tree(folder) == before


@pytest.mark.usefixtures("calls")
def test_findings_of_every_step_are_gathered(tmp_path: Path) -> None:
    text = JOB.replace('name = "belt"', 'name = "belt"\nmaterial = "leather"\nthickness_mm = 0.7')
    folder = job_folder(tmp_path / "job", text=text)
    make_job(folder)
    check = check_job(folder)
    assert {state.state for state in check.states} == {"fresh"}
    codes = {finding.code: finding.severity for finding in check.findings}
    assert codes == {
        "thickness-unusual": Severity.NOTE,
        "photo-far": Severity.NOTE,
        "strain": Severity.STOP,
        "seam-mismatch": Severity.WARNING,
    }


@pytest.mark.usefixtures("calls")
def test_what_follows_a_stale_step_is_stale_too(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    make_job(folder)
    text = JOB.replace("longest_px = 1200", "longest_px = 1300")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    states = check_job(folder).states
    assert states[0].reasons == ("[capture] changed",)
    assert {state.state for state in states} == {"stale"}
    assert states[-1].reasons == ("the scan is to be made first",)


def test_every_problem_of_job_toml_is_a_finding(tmp_path: Path) -> None:
    text = JOB.replace('kind = "level"', 'kind = "lvl"').replace("[form]", "[fom]")
    check = check_job(job_folder(tmp_path / "job", text=text))
    assert check.states == ()
    assert len(check.findings) == 2
    assert {finding.severity for finding in check.findings} == {Severity.STOP}
    assert all("job.toml line" in finding.where for finding in check.findings)


def test_a_missing_mesh_is_told(tmp_path: Path) -> None:
    text = JOB.replace("[form]", '[body]\nfrom_mesh = "none.ply"\n[form]')
    check = check_job(job_folder(tmp_path / "job", text=text))
    assert "no-mesh" in {finding.code for finding in check.findings}
