"""The body's measures stand beside the tape list, by name, with what they may differ by."""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.body.tape_reading import TapeMeasure
from fitkit.job.body_files import body_files, read_body
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow import make_job, measure_job
from fitkit.workflow.measure_job import kept_measures
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


def test_what_changes_while_the_tape_is_laid_is_measured_again(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A body made anew meanwhile, and then a girth told anew."""
    tape: Any = sys.modules["fitkit.body.tape_measure"]
    lay = tape.tape_measures

    def larger_body() -> None:
        opened = open_job(job)
        body = read_body(job / "body")
        larger = replace(body, mesh=body.mesh.with_vertices(2.0 * body.mesh.vertices))
        digests = FileDigests(opened.folder)
        with opened.locked("test"):
            opened.keep_result(
                "body", body_files(larger), inputs=opened.inputs("body", digests), digests=digests
            )

    def higher_belt() -> None:
        path = job / "job.toml"
        path.write_text(
            path.read_text(encoding="utf-8").replace("height_mm = 20", "height_mm = 30")
        )

    changes = [larger_body, higher_belt]

    def laid_meanwhile(body: Body, extra: Any) -> Any:
        laid = lay(body, extra)
        if changes:
            changes.pop(0)()
        return laid

    monkeypatch.setattr(tape, "tape_measures", laid_meanwhile)
    rows = {row.name: row.body_mm for row in measure_job(job).rows}
    assert rows["chest"] == pytest.approx(4.0 * 960.0)
    assert rows["belt"] == 30.0
    kept = kept_measures(job)
    assert kept is not None
    assert {row.name: row.body_mm for row in kept.rows} == rows


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
    with open(folder / "measures.csv", newline="", encoding="utf-8-sig") as file:
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
