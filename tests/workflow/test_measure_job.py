"""The body's measures stand beside the tape list, by name."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

from fitkit.workflow import make_job, measure_job
from tests.workflow.quick_steps import JOB, job_folder


@pytest.mark.usefixtures("calls")
def test_rows_are_matched_by_name_and_the_rest_is_listed_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tape = '[wearer.tape]\nChest = "98 cm"\nhat = 570\n\n[capture]'
    folder = job_folder(tmp_path / "job", text=JOB.replace("[capture]", tape))
    make_job(folder, until="body")
    module = ModuleType("fitkit.body.tape_measure")
    vars(module)["tape_measures"] = lambda body: (
        SimpleNamespace(name="chest", length_mm=body.mesh.area_mm2() / 5.0),
        SimpleNamespace(name="waist", length_mm=800.0),
    )
    monkeypatch.setitem(sys.modules, "fitkit.body.tape_measure", module)
    measures = measure_job(folder)
    # the quick body is 80 mm by 60 mm, 4800 mm2
    assert [(row.name, row.body_mm, row.tape_mm) for row in measures.rows] == [
        ("chest", pytest.approx(960.0), 980.0),
        ("waist", 800.0, None),
        ("hat", None, 570.0),
    ]
    assert measures.rows[0].difference_mm == pytest.approx(-20.0)
    assert measures.rows[1].difference_mm is None
    assert measures.as_dict()["measures"][0]["difference_mm"] == pytest.approx(-20.0)
