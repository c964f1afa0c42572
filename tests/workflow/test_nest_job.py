"""Nesting in a job: what is kept, what is taken up again, and what the maker decides."""

from __future__ import annotations

import csv
import shutil
import sys
import tomllib
from pathlib import Path

import pytest

from fitkit.drawing.drawing import Drawing
from fitkit.drawing.paper import Paper
from fitkit.errors import InputError, JobError
from fitkit.findings import Severity
from fitkit.job.cut_list_files import offcut_row
from fitkit.job.job_folder import open_job
from fitkit.job.settings_text import settings_problems
from fitkit.job.stock_rows import stock_sheets
from fitkit.sheets.nesting import Nesting
from fitkit.workflow.check_job import check_job
from fitkit.workflow.edit_stock import add_offcuts
from fitkit.workflow.make_job import make_job
from fitkit.workflow.nest_job import nest_job, pin_part, read_layout, release_part
from tests.workflow.quick_steps import JOB, job_folder

pytestmark = pytest.mark.usefixtures("calls")

# Three parts of 80 by 60 mm card of 0.5 mm come out of the quick steps.
STOCK = """
[nest]
seconds = 0
offcut_mm = 40
currency = "EUR"

[[stock]]
name = "card"
material = "card"
thickness_mm = 0.5
size_mm = [300, 100]
price = 2.0
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return job_folder(tmp_path / "job", text=JOB + STOCK)


def test_make_lays_parts_out_where_some_stock_is_told(folder: Path, tmp_path: Path) -> None:
    assert make_job(folder)[-1].step == "sheets"
    assert not any(report.ran for report in make_job(folder))
    without = job_folder(tmp_path / "other")
    assert make_job(without)[-1].step == "pages"
    assert nest_job(without, seconds=0.0)[-1].words == "3 parts on 1 sheet"
    asked = job_folder(tmp_path / "asked", text=JOB + "[nest]\nseconds = 0\n")
    assert make_job(asked, until="sheets")[-1].words == "3 parts on 1 sheet"


def test_nest_makes_no_pages_and_leaves_drawings_and_tables(folder: Path) -> None:
    reports = nest_job(folder)
    assert [report.step for report in reports][-2:] == ["templates", "sheets"]
    assert not (folder / "out").exists()
    for name in ("nesting.json", "layouts.pdf", "sheet-01.svg", "sheet-01.dxf", "sheet-01.png"):
        assert (folder / "sheets" / name).is_file(), name
    with open(folder / "sheets" / "cut-list.csv", encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["part"] for row in rows] == ["plate", "plate", "belt"]
    # 750 kg/m3 (materials table) times 48 cm2 times 0.5 mm.
    assert {row["mass_g"] for row in rows} == {"2"}
    with open(folder / "sheets" / "sheets.csv", encoding="utf-8-sig", newline="") as file:
        (sheet,) = csv.DictReader(file)
    assert float(sheet["used_pct"]) == pytest.approx(100 * 3 * 80 * 60 / 30_000, abs=0.1)
    assert sum(float(row["cost EUR"]) for row in rows) == pytest.approx(
        float(sheet["cost EUR"]), abs=0.02
    )


def test_other_stock_makes_it_stale_and_more_seconds_do_not(folder: Path) -> None:
    make_job(folder)
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("seconds = 0", "seconds = 1"), encoding="utf-8")
    assert not any(report.ran for report in make_job(folder))
    path.write_text(text.replace("[300, 100]", "[400, 100]"), encoding="utf-8")
    state = {one.step: one.state for one in check_job(folder).states}
    assert state["sheets"] == "stale"
    assert state["pages"] == "fresh"
    assert [report.step for report in make_job(folder) if report.ran] == ["sheets"]


def test_what_does_not_fit_stops_with_numbers(folder: Path) -> None:
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[300, 100]", "[180, 100]"), encoding="utf-8")
    report = nest_job(folder)[-1]
    assert report.words == "2 parts on 1 sheet, 1 left out"
    (finding,) = report.findings
    assert finding.severity is Severity.STOP
    assert "this part is left: belt" in finding.message
    assert "more sheet of 180 × 100 mm" in finding.remedy
    path.write_text(text.replace("[300, 100]", "[60, 50]"), encoding="utf-8")
    findings = nest_job(folder)[-1].findings
    assert {finding.code for finding in findings} == {"part-too-large"}
    for finding, patch in zip(findings, ("plate", "plate", "belt"), strict=True):
        assert f"fitkit patch split {folder} '{patch}' NEW --along LINE" in finding.remedy


def test_a_pinned_part_stays_until_it_is_let_go(folder: Path) -> None:
    nest_job(folder)
    with pytest.raises(InputError, match="no part 'cap'"):
        pin_part(folder, "cap")
    pin_part(folder, "belt", sheet="card", at_mm=(205.0, 25.0))
    nest_job(folder)
    belt = next(one for one in read_layout(folder).placed() if one.part.name == "belt")
    assert belt.pinned
    assert belt.shift_mm.tolist() == [205.0, 25.0]
    pin_part(folder, "1")
    nest_job(folder)
    assert sum(one.pinned for one in read_layout(folder).placed()) == 2
    release_part(folder, "belt")
    release_part(folder, "plate, left")
    assert "[[pinned]]" not in (folder / "job.toml").read_text(encoding="utf-8")
    with pytest.raises(InputError, match="not pinned"):
        release_part(folder, "belt")


def test_pinning_where_it_lies_keeps_it_to_the_last_bit(folder: Path) -> None:
    nest_job(folder)
    before = {one.part.number: one.outline_mm() for one in read_layout(folder).placed()}
    for number in before:
        pin_part(folder, str(number))
    nest_job(folder)
    after = {one.part.number: one.outline_mm() for one in read_layout(folder).placed()}
    for number, outline in before.items():
        assert after[number] == pytest.approx(outline, abs=1e-9)


def test_stopping_keeps_the_best_so_far(folder: Path) -> None:
    found: list[Nesting] = []
    nest_job(folder, seconds=60.0, better=found.append, cancelled=lambda: bool(found))
    assert len(read_layout(folder).placed()) == 3
    assert not (folder / ".fitkit" / "nesting-so-far.json").exists()


def test_a_killed_run_is_taken_up_where_it_was(folder: Path) -> None:
    nest_job(folder)
    before = read_layout(folder)

    class KilledError(BaseException):
        """Stands for a process that is gone."""

    def kill(nesting: Nesting) -> None:
        raise KilledError(nesting)

    kept = folder / ".fitkit" / "nesting-so-far.json"
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('name = "card"', 'name = "board"'), encoding="utf-8")
    with pytest.raises(KilledError):
        nest_job(folder, better=kill)
    assert [one.stock.name for one in read_layout(folder).sheets] == ["card"]
    assert before.sheets[0].stock.name == "card"
    kept.write_bytes((folder / "sheets" / "nesting.json").read_bytes())
    with pytest.raises(KilledError):
        nest_job(folder, better=kill)
    assert kept.is_file()
    assert nest_job(folder)[-1].ran
    assert [one.stock.name for one in read_layout(folder).sheets] == ["board"]
    assert not kept.exists()


def test_offcuts_become_the_next_job_s_stock(folder: Path, tmp_path: Path) -> None:
    other = job_folder(tmp_path / "other")
    with pytest.raises(JobError, match="Nothing is laid out"):
        add_offcuts(other, folder)
    nest_job(folder)
    rows = tomllib.loads((folder / "sheets" / "offcuts.toml").read_text(encoding="utf-8"))["stock"]
    assert add_offcuts(other, folder).words == f"{len(rows)} offcut of 'Heron' put into stock"
    (stock,) = open_job(other).settings.stock
    assert stock.material == "card"
    assert stock.price == rows[0]["price"]
    assert not add_offcuts(other, folder).ran
    assert nest_job(other, seconds=0.0)[-1].findings
    with pytest.raises(InputError, match="what it leaves over itself"):
        add_offcuts(folder, folder)


def test_offcuts_are_laid_on_before_whole_sheets_and_follow_their_job(
    folder: Path, tmp_path: Path
) -> None:
    nest_job(folder)
    other = job_folder(tmp_path / "other", text=JOB + STOCK.replace("[300, 100]", "[500, 300]"))
    add_offcuts(other, folder)
    nest_job(other)
    first, *_ = read_layout(other).sheets
    assert first.stock.name == "offcut, card, Heron"
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[300, 100]", "[400, 100]"), encoding="utf-8")
    nest_job(folder)
    assert add_offcuts(other, folder).ran
    offcut, whole = open_job(other).settings.stock
    assert offcut.size_mm is not None
    assert offcut.size_mm[0] > first.stock.size_mm[0] + 90.0
    assert whole.name == "card"


def test_offcuts_of_two_jobs_of_one_name_both_stay(folder: Path, tmp_path: Path) -> None:
    second = job_folder(tmp_path / "again", text=JOB + STOCK.replace("[300, 100]", "[260, 100]"))
    other = job_folder(tmp_path / "other", text=JOB + STOCK)
    for source in (folder, second):
        nest_job(source)
        add_offcuts(other, source)
    newer, older, whole = open_job(other).settings.stock
    assert (newer.left_by, older.left_by, whole.left_by) == ("../again", "../job", None)
    assert (newer.name, older.name) == ("offcut, card, Heron 2", "offcut, card, Heron")
    assert newer.size_mm is not None
    assert older.size_mm is not None
    assert newer.size_mm[0] == pytest.approx(older.size_mm[0] - 40.0)
    # Taken over again each goes in the place of its own alone, wherever the job is called from.
    add_offcuts(other, folder)
    assert {row.left_by for row in open_job(other).settings.stock} == {"../again", "../job", None}
    assert len(open_job(other).settings.stock) == 3


@pytest.mark.parametrize("moved", ["source", "taker", "both"])
def test_offcuts_of_a_moved_job_go_in_the_place_of_its_own(
    folder: Path, tmp_path: Path, moved: str
) -> None:
    taker = job_folder(tmp_path / "taker", text=JOB + STOCK)
    nest_job(folder)
    add_offcuts(taker, folder)
    (tmp_path / "elsewhere").mkdir()
    if moved in ("source", "both"):
        folder = folder.rename(tmp_path / "elsewhere" / "was job")
    if moved in ("taker", "both"):
        (tmp_path / "far" / "off").mkdir(parents=True)
        taker = taker.rename(tmp_path / "far" / "off" / "taker")
    add_offcuts(taker, folder)
    offcut, whole = open_job(taker).settings.stock
    assert (offcut.name, whole.name) == ("offcut, card, Heron", "card")
    assert offcut.left_by is not None
    assert (taker / offcut.left_by).resolve() == folder.resolve()


def test_what_a_job_left_that_stood_in_the_same_place_before_stays(
    folder: Path, tmp_path: Path
) -> None:
    taker = job_folder(tmp_path / "taker", text=JOB + STOCK)
    nest_job(folder)
    add_offcuts(taker, folder)
    folder.rename(tmp_path / "archived")
    nest_job(job_folder(folder, text=JOB + STOCK))
    add_offcuts(taker, folder)
    assert [row.left_by for row in open_job(taker).settings.stock] == ["../job", "../job", None]
    # Its own are told from those of what stood there.
    add_offcuts(taker, folder)
    assert len(open_job(taker).settings.stock) == 3


def test_a_copy_of_a_job_leaves_offcuts_of_its_own(folder: Path, tmp_path: Path) -> None:
    taker = job_folder(tmp_path / "taker", text=JOB + STOCK)
    nest_job(folder)
    add_offcuts(taker, folder)
    copy = shutil.copytree(folder, tmp_path / "copy")
    for source in (copy, folder, copy):
        add_offcuts(taker, source)
        assert {row.left_by for row in open_job(taker).settings.stock} == {
            "../job", "../copy", None,
        }  # fmt: skip
        assert len(open_job(taker).settings.stock) == 3


def test_leather_has_a_face_unless_told_otherwise() -> None:
    row = '[[stock]]\nname = "hide"\nmaterial = "leather"\nthickness_mm = 3\nsize_mm = [9, 9]\n'
    for told, faced in (("", True), ("faced = false\n", False)):
        settings, problems = settings_problems(f"{JOB}\n{row}{told}")
        assert settings is not None, problems
        (sheet,) = stock_sheets(settings)
        assert sheet.faced is faced
        assert offcut_row(sheet)["faced"] is faced


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('name = "s"\nmaterial = "card"\nthickness_mm = 1', "size_mm or its outline_mm"),
        (
            'name = "s"\nmaterial = "crad"\nthickness_mm = 1\nsize_mm = [1, 2]',
            "Did you mean 'card'",
        ),
        (
            'name = "s"\nmaterial = "card"\nthickness_mm = 1\nsize_mm = [9, 9]\nto_buy = true\n'
            "quantity = 2",
            "as many are taken as it takes",
        ),
        (
            'name = "s"\nmaterial = "card"\nthickness_mm = 1\nsize_mm = [9, 9]\n'
            "bad = [{at_mm = [1, 1]}]",
            "either at_mm and within_mm, or corners_mm",
        ),
        ('name = "s"\nmaterial = "card"\nthickness_mm = 1\nsise_mm = [9, 9]', "mean 'size_mm'"),
    ],
)
def test_a_bad_row_of_stock_is_told_with_what_to_write(row: str, said: str) -> None:
    settings, problems = settings_problems(f"{JOB}\n[[stock]]\n{row}\n")
    assert settings is None
    assert any(said in problem.remedy for problem in problems), problems


def test_a_pin_on_no_stock_and_a_name_taken_twice_are_told() -> None:
    row = '\n[[stock]]\nname = "s"\nmaterial = "card"\nthickness_mm = 1\nsize_mm = [9, 9]\n'
    pin = '\n[[pinned]]\npart = "belt"\nsheet = "t"\nat_mm = [1, 1]\n'
    causes = [problem.cause for problem in settings_problems(JOB + row + row + pin)[1]]
    assert causes == ["the name is taken already.", "there is no stock 't'."]


def test_tags_are_left_for_those_parts_that_bear_one_on_paper(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def told(drawings: list[Drawing], papers: list[Paper]) -> bytes:
        words = [" ".join(word.text for word in one.words) for one in drawings]
        return f"{papers[0].name}: {words}".encode()

    monkeypatch.setattr(sys.modules["fitkit.export.page_pdf"], "pdf_of_full_pages", told)
    nest_job(folder)
    page = (folder / "sheets" / "tags.pdf").read_text(encoding="utf-8")
    assert page.startswith("A4:")
    assert "1 plate, left 2 plate, right" in page
    assert "belt" not in page


def test_a_moved_job_is_called_by_its_new_name_in_what_was_advised_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    small = STOCK.replace("[300, 100]", "[50, 50]")
    made = nest_job(job_folder(tmp_path / "first", text=JOB + small))[-1]
    assert "divide it with: fitkit patch split first 'plate' NEW" in made.findings[0].remedy
    (tmp_path / "first").rename(tmp_path / "moved on")
    for told in (check_job("moved on").findings, nest_job("moved on")[-1].findings):
        remedies = " ".join(one.remedy for one in told)
        assert "fitkit patch split 'moved on' 'plate' NEW" in remedies
        assert "first" not in remedies
