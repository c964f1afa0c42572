"""A measure of the body by tape is held against the body when it is made, and when it changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitkit.findings import Finding, Severity
from fitkit.geometry.mesh_files import ply_bytes
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow import make_job
from tests.truth.mannequin import mannequin, mannequin_girths_mm

PNG = b"\x89PNG drawn elsewhere"
JOB = """\
format = 1
[job]
name = "Heron"
[wearer.tape]
waist = {waist}
[capture]
checks = ["waist", "neck={neck} mm"]
[body]
from_mesh = "stand-in.ply"
"""


def body_checks(folder: Path) -> list[Finding]:
    (report,) = make_job(folder, until="body")
    return [finding for finding in report.findings if finding.code.startswith("body-check")]


def test_a_girth_by_tape_agrees_or_stops(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Taped: the waist from the exact mesh, a coarse one of which is the body; the neck wrong."""
    monkeypatch.setattr("fitkit.export.body_picture.png_of_body", lambda *_, **__: PNG)
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "stand-in.ply").write_bytes(ply_bytes(mannequin(20.0)))
    girths = mannequin_girths_mm()
    neck_mm = round(1.03 * girths["neck"])
    text = JOB.format(waist=round(girths["waist"]), neck=neck_mm)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    waist, neck = body_checks(folder)
    assert (waist.code, waist.severity) == ("body-check-agrees", Severity.NOTE)
    assert (neck.code, neck.severity) == ("body-check-differs", Severity.STOP)
    assert 2.0 < neck.number < 8.0

    # Taped again, as the body has it, the body is looked at anew; the scan would not be made again.
    before = open_job(folder).inputs("scan", FileDigests(folder))
    mended = text.replace(f"neck={neck_mm} mm", f"neck={(1 - neck.number / 100) * neck_mm:.1f} mm")
    (folder / "job.toml").write_text(mended, encoding="utf-8")
    assert open_job(folder).inputs("scan", FileDigests(folder)) == before
    assert [finding.severity for finding in body_checks(folder)] == [Severity.NOTE] * 2
