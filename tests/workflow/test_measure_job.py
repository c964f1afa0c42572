"""The body's measures stand beside the tape list, by name, with what they may differ by."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from fitkit.body.tape_reading import TapeMeasure
from fitkit.workflow import make_job, measure_job
from tests.workflow.quick_steps import JOB, job_folder

TAPE = """[wearer.tape]
Chest = "98 cm"
thigh = 503
hat = 570

[[girth]]
name = "belt"
height_mm = 20

[capture]"""


def reading(name: str, length_mm: float) -> TapeMeasure:
    ring = np.array([[0.0, 0, 10], [50, 0, 10], [50, 0, 40]])
    return TapeMeasure(name, "girth", length_mm, None, ring, "level")


@pytest.fixture
def job(tmp_path: Path, calls: list[str], monkeypatch: pytest.MonkeyPatch) -> Path:
    assert calls == []
    folder = job_folder(tmp_path / "job", text=JOB.replace("[capture]", TAPE))
    make_job(folder, until="body")
    module: Any = ModuleType("fitkit.body.tape_measure")
    module.tape_measures = lambda body, extra: (
        # the quick body is 80 mm by 60 mm, 4800 mm2
        reading("chest", body.mesh.area_mm2() / 5.0),
        reading("waist", 800.0),
        reading("left thigh", 498.0),
        reading("right thigh", 515.0),
        *(reading(plan.name, plan.height_mm) for plan in extra),
    )
    monkeypatch.setitem(sys.modules, "fitkit.body.tape_measure", module)
    return folder


def test_rows_are_matched_by_name_and_the_rest_is_listed_too(job: Path) -> None:
    measures = measure_job(job)
    assert [(row.name, row.body_mm, row.tape_mm) for row in measures.rows] == [
        ("chest", pytest.approx(960.0), 980.0),
        ("waist", 800.0, None),
        ("left thigh", 498.0, 503.0),
        ("right thigh", 515.0, 503.0),
        ("belt", 20.0, None),
        ("hat", None, 570.0),
    ]
    assert measures.rows[0].difference_mm == pytest.approx(-20.0)
    assert measures.rows[1].difference_mm is None
    assert measures.as_dict()["measures"][0]["difference_mm"] == pytest.approx(-20.0)


def test_differences_are_held_against_the_limit_of_their_kind(job: Path) -> None:
    """ISO 20685-1:2018: 9 mm for large girths."""
    rows = {row.name: row for row in measure_job(job).rows}
    assert [rows[name].limit_mm for name in ("chest", "left thigh")] == [9, 9]
    assert rows["chest"].verdict == "over"
    assert rows["left thigh"].verdict == "within"
    assert rows["right thigh"].verdict == "over"
    assert rows["waist"].verdict == rows["hat"].verdict == ""


def test_the_measures_are_left_as_table_json_and_picture_and_go_with_a_new_body(job: Path) -> None:
    measures = measure_job(job)
    folder = job / "body"
    assert [path.name for path in measures.files] == ["measures.csv", "measures.json", "tapes.png"]
    with open(folder / "measures.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == [row.name for row in measures.rows]
    assert (rows[0]["body_mm"], rows[0]["tape_mm"], rows[0]["verdict"]) == (
        "960.00", "980.00", "over",
    )  # fmt: skip
    assert rows[-1]["body_mm"] == ""
    kept = json.loads((folder / "measures.json").read_text(encoding="utf-8"))
    assert kept["unit"] == "mm"
    assert kept["measures"] == measures.as_dict()["measures"]
    assert (folder / "tapes.png").read_bytes()[:4] == b"\x89PNG"
    (folder / "note.txt").write_text("the maker's own")
    assert not any(report.ran for report in make_job(job, until="body")), "the body still holds"
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text + '\n[body.landmarks]\n"scar" = [10, 0, 20]\n')
    make_job(job, until="body")
    left = {path.name for path in folder.iterdir()}
    assert "note.txt" in left
    assert not left & {"measures.csv", "measures.json", "tapes.png"}
