"""The build book goes through the job like any step, measures in it or left out."""

from __future__ import annotations

import csv
import json
import sys
from io import BytesIO
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image

# Bound to the real pictures before the quick steps stand in for them.
import fitkit.export.build_book_pdf as real_pdf
from fitkit.findings import Finding, Severity
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow import book_job, check_job, make_job
from fitkit.workflow.nest_job import nest_job
from tests.workflow.quick_steps import JOB, job_folder

pytestmark = pytest.mark.usefixtures("calls")

ROWS = """
[[hardware]]
name = "strap 20 mm"
on = "plate"
length_mm = 200

[[attachment]]
name = "left horn"
on = "plate"
at = {xyz_mm = [40, 0, 30]}
kind = "tube"
across_mm = 20
height_mm = 50
tabs = 4
tab_mm = 10
"""


def words_of(path: Path) -> list[str]:
    """Return the text of each page."""
    document = pypdfium2.PdfDocument(path)
    try:
        return [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setitem(sys.modules, "fitkit.export.build_book_pdf", real_pdf)
    text = JOB.replace("[capture]", "[wearer.tape]\nchest = 905\n\n[capture]")
    return job_folder(tmp_path / "job", text=text + ROWS)


def test_book_holds_every_part_and_what_is_bought(folder: Path) -> None:
    reports = book_job(folder)
    assert reports[-1].step == "book"
    pdf = folder / "book" / "build-book.pdf"
    pages = words_of(pdf)
    contents = " ".join(pages[1].split())
    for title in ("1 plate, left", "3 belt", "4 left horn, left", "Hardware", "First fitting"):
        assert title in contents
    assert f"page {len(pages)} of {len(pages)}" in " ".join(pages[-1].split())
    assert "Private: take this page out" in pages[-1]
    assert "905" in pages[-1]
    with open(folder / "book" / "hardware.csv", encoding="utf-8-sig") as file:
        rows = {row["item"]: row for row in csv.DictReader(file)}
    assert rows["strap 20 mm"]["to_buy"] == "2"
    assert rows["steel screw"]["needed"] == "8"
    plans = json.loads((folder / "book" / "plans.json").read_text(encoding="utf-8"))
    assert [part["number"] for part in plans["parts"]] == [1, 2, 3, 4, 5]
    first = pdf.read_bytes()
    pdf.unlink()
    book_job(folder)
    assert pdf.read_bytes() == first


STOCK = """
[nest]
seconds = 0

[[stock]]
name = "card"
material = "card"
size_mm = [1000, 700]
thickness_mm = 0.5
"""


def keep_motion(folder: Path) -> None:
    """Put a motion result into the job as it is now."""
    values = {
        "format": 1,
        "ranges": [
            {
                "name": "left elbow bends",
                "rest_deg": 10.0,
                "wanted_deg": 120.0,
                "free_deg": 84.0,
                "free_after_trim_deg": 120.0,
                "contacts": [{"plate": "plate, left"}],
            }
        ],
        "trims": [],
    }
    told = Finding("motion-stopped", Severity.WARNING, "plate", "It stops the elbow.", "Trim it.")
    job = open_job(folder)
    digests = FileDigests(job.folder)
    with job.locked("motion"):
        job.keep_result(
            "motion",
            {"motion.json": json.dumps(values).encode(), "left-elbow-bends.png": picture()},
            inputs=job.inputs("motion", digests),
            digests=digests,
            findings=(told,),
        )


def picture() -> bytes:
    buffer = BytesIO()
    Image.new("RGB", (40, 30), (0, 90, 200)).save(buffer, "png")
    return buffer.getvalue()


def test_sheets_and_motion_are_in_it_while_they_hold(folder: Path) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text + STOCK)
    make_job(folder)
    keep_motion(folder)
    reports = book_job(folder)
    assert "sheets" in {report.step for report in reports}
    pages = [" ".join(page.split()) for page in words_of(folder / "book" / "build-book.pdf")]
    assert any(page.startswith("Sheets") and "Cut list" in page for page in pages)
    moving = next(page for page in pages if page.startswith("Moving in it"))
    assert "84° of 120°" in moving
    assert "It stops the elbow. Trim it." in moving
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text + "\n[motion]\nstep_deg = 4\n")
    state = check_job(folder).states[-1]
    assert (state.step, state.reasons) == ("book", ("the result of motion changed",))
    *_, made = book_job(folder)
    again = [" ".join(page.split()) for page in words_of(folder / "book" / "build-book.pdf")]
    assert not any(page.startswith("Moving in it") for page in again)
    (told,) = [one for one in made.findings if one.code == "book-without-motion"]
    assert "fitkit motion" in told.remedy


def test_a_layout_of_an_earlier_state_is_laid_out_anew_for_the_book(folder: Path) -> None:
    """Laid once without stock told, on sizes as sold; then the belt gets another thickness."""
    nest_job(folder, seconds=0.0)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    changed = text.replace("clearance_mm = 9", "clearance_mm = 9\nthickness_mm = 1.5")
    assert changed != text
    (folder / "job.toml").write_text(changed + "\n[nest]\nseconds = 0\n")
    # As the room's button does.
    reports = {report.step: report for report in make_job(folder, until="book")}
    assert reports["sheets"].ran
    assert not any(one.code.startswith("book-without") for one in reports["book"].findings)
    pages = [" ".join(page.split()) for page in words_of(folder / "book" / "build-book.pdf")]
    assert any(page.startswith("Sheets") and "Cut list" in page for page in pages)


def test_left_to_itself_until_asked_for_and_stale_by_what_it_holds(folder: Path) -> None:
    assert [report.step for report in make_job(folder)][-1] == "pages"
    assert "book" not in {state.step for state in check_job(folder).states}
    (*_, left_out) = book_job(folder, measures=False)
    assert left_out.words.endswith("measures left out")
    pages = words_of(folder / "book" / "build-book.pdf")
    assert not any("Private" in page or "905" in page for page in pages)
    assert not book_job(folder)[-1].ran
    text = (folder / "job.toml").read_text(encoding="utf-8")
    assert "measures = false" in text
    (folder / "job.toml").write_text(text.replace("length_mm = 200", "length_mm = 210"))
    state = check_job(folder).states[-1]
    assert (state.step, state.state, state.reasons) == ("book", "stale", ("[[hardware]] changed",))


def test_hardware_on_no_patch_is_refused_by_name(tmp_path: Path) -> None:
    wrong = ROWS.replace('on = "plate"\nlength', 'on = "plaet"\nlength')
    folder = job_folder(tmp_path / "job", text=JOB + wrong)
    (problem,) = check_job(folder).findings
    assert "there is no patch 'plaet'" in problem.message
