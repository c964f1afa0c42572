"""Only what is stale runs, in order, and a failure leaves the job as it was."""

from __future__ import annotations

import csv
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fitkit.errors import DesignError, JobBusyError, JobError, PhotoError
from fitkit.findings import Severity
from fitkit.job.job_folder import open_job
from fitkit.job.job_lock import job_lock
from fitkit.workflow import check_job, make_job, scan_job
from fitkit.workflow.edit_settings import change_setting
from tests.workflow.quick_steps import JOB, job_folder, tree

STEPS = ["scan", "body", "patches", "blanks", "templates", "pages"]


def edit(folder: Path, old: str, new: str) -> None:
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def ran(folder: Path) -> list[str]:
    return [report.step for report in make_job(folder) if report.ran]


def test_every_step_runs_once_and_leaves_its_files(tmp_path: Path, calls: list[str]) -> None:
    folder = job_folder(tmp_path / "job")
    reports = make_job(folder)
    assert [report.step for report in reports] == STEPS
    assert all(report.ran for report in reports)
    for report in reports:
        assert report.files
        assert all(path.is_file() for path in report.files)
    for name in ("scan/photos.png", "body/body.png", "patches/patches.png",
                 "blanks/plate-strain.png", "templates/02-plate-right.png", "out/templates.pdf",
                 "out/01-plate-left.dxf", "out/03-belt.svg"):  # fmt: skip
        assert (folder / name).is_file(), name
    assert [call for call in calls if call.startswith(("form", "cut"))] == [
        "form 5",
        "cut plate",
        "form 9",
        "cut belt",
    ]


def test_the_second_time_nothing_runs_and_nothing_changes(tmp_path: Path, calls: list[str]) -> None:
    folder = job_folder(tmp_path / "job")
    first = make_job(folder)
    calls.clear()
    before = tree(folder)
    second = make_job(folder)
    assert calls == []
    assert not any(report.ran for report in second)
    assert tree(folder) == before
    assert [report.findings for report in second] == [report.findings for report in first]
    assert [report.files for report in second] == [report.files for report in first]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("# The maker's remark.", "# Another remark.", []),
        ("longest_px = 1200", "longest_px = 1300", ["scan"]),
        ("clearance_mm = 9", "clearance_mm = 10", ["patches", "templates"]),
        ("height_mm = 0.5", "height_mm = 0.6", ["patches"]),
        ('name = "belt"', 'name = "belt"\nmaterial = "foam"', STEPS[3:]),
        ('name = "belt"', 'name = "belt"\nnote = "blue"', ["templates"]),
        ('name = "Mira"', 'name = "Ada"', ["templates"]),
        ('name = "Heron"', 'name = "Warden"', ["templates", "pages"]),
        ("[form]", '[print]\npaper = "A3"\n[form]', ["pages"]),
    ],
)
@pytest.mark.usefixtures("calls")
def test_a_change_makes_only_what_depends_on_it(
    tmp_path: Path, old: str, new: str, expected: list[str]
) -> None:
    """Where the result of a step comes out the same, the steps after it are left alone."""
    folder = job_folder(tmp_path / "job")
    make_job(folder)
    edit(folder, old, new)
    assert ran(folder) == expected
    assert ran(folder) == []


@pytest.mark.usefixtures("calls")
def test_photos_added_taken_away_or_changed_make_the_scan_stale(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", photos=5)
    make_job(folder)
    (folder / "photos" / "IMG_4.jpg").unlink()
    state = check_job(folder).states[0]
    assert (state.state, state.reasons) == ("stale", ("photos/IMG_4.jpg is gone",))
    # the quick body looks at the first photo only, so it comes out the same
    assert ran(folder) == ["scan", "body"]
    (folder / "photos" / "IMG_0.jpg").write_bytes(b"photo 9")
    assert ran(folder) == STEPS
    (folder / "photos" / ".hidden").write_bytes(b"x")
    assert ran(folder) == []


@pytest.mark.usefixtures("calls")
def test_deleted_and_edited_results_are_made_again_and_the_edit_is_kept(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    make_job(folder)
    (folder / "out" / "parts.csv").unlink()
    assert ran(folder) == ["pages"]
    (folder / "templates" / "03-belt.svg").write_bytes(b"<svg>mine</svg>")
    (folder / "templates" / "my notes.txt").write_text("cut twice")
    assert ran(folder) == ["templates"]
    assert (folder / "templates" / "03-belt.svg").read_bytes() == b"<svg/>"
    assert (folder / "templates" / "my notes.txt").read_text() == "cut twice"
    kept = list((folder / ".fitkit" / "set-aside").rglob("03-belt.svg"))
    assert [path.read_bytes() for path in kept] == [b"<svg>mine</svg>"]


def test_only_the_patch_that_changed_is_flattened_again(tmp_path: Path, calls: list[str]) -> None:
    folder = job_folder(tmp_path / "job")
    make_job(folder)
    before = tree(folder / "blanks")
    calls.clear()
    edit(folder, 'name = "belt"', 'name = "belt"\nmaterial = "leather"')
    report = make_job(folder)[3]
    assert [call for call in calls if call.startswith("flatten")] == ["flatten belt"]
    assert report.words == "1 patch laid flat, 1 taken over"
    assert [finding.code for finding in report.findings].count("strain") == 1
    after = tree(folder / "blanks")
    assert {n: after[n] for n in after if "plate" in n} == {
        n: before[n] for n in before if "plate" in n
    }
    # a taken-over piece keeps its findings, and one that was edited is not taken over
    edit(folder, 'name = "plate"', 'name = "plate"\nthickness_mm = 0.8')
    assert [f.code for f in make_job(folder)[3].findings].count("strain") == 1
    calls.clear()
    (folder / "blanks" / "belt.npz").write_bytes(b"broken")
    make_job(folder)
    assert [call for call in calls if call.startswith("flatten")] == ["flatten belt"]


@pytest.mark.usefixtures("calls")
def test_a_folder_of_the_makers_own_is_not_lost(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    (folder / "out").mkdir()
    (folder / "out" / "letter.txt").write_text("mine")
    (folder / "out" / "parts.csv").write_text("mine too")
    make_job(folder)
    assert (folder / "out" / "letter.txt").read_text() == "mine"
    kept = list((folder / ".fitkit" / "set-aside").rglob("parts.csv"))
    assert [path.read_text() for path in kept] == ["mine too"]


def test_parts_taken_out_leave_no_files_behind(tmp_path: Path, calls: list[str]) -> None:
    folder = job_folder(tmp_path / "job")
    make_job(folder)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.split('[[patch]]\nname = "belt"')[0], encoding="utf-8")
    calls.clear()
    make_job(folder)
    assert not list(folder.rglob("*belt*"))
    with open(folder / "out" / "parts.csv", encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["number"], row["side"]) for row in rows] == [("1", "left"), ("2", "right")]
    # 80 mm by 60 mm of 0.5 mm card at 750 kg/m3 (the materials table): 48 cm2, 1.8 g
    assert (rows[0]["area_cm2"], rows[0]["mass_g"]) == ("48.0", "2")


def test_a_failing_step_leaves_the_job_as_the_last_one_left_it(
    tmp_path: Path, calls: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_folder(tmp_path / "job")
    make_job(folder, until="patches")
    before = tree(folder)

    def fails(*_: object, **__: object) -> None:
        raise DesignError("The patch 'plate' folds over.", "Add a relief cut.")

    monkeypatch.setattr(sys.modules["fitkit.flatten.flatten_patch"], "flatten_patch", fails)
    with pytest.raises(DesignError):
        make_job(folder)
    assert tree(folder) == before
    assert calls.count("reconstruct") == 1


@pytest.mark.usefixtures("calls")
def test_a_job_without_patches_ends_with_the_body_and_says_so(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", text=JOB.split("[[line]]")[0])
    reports = make_job(folder)
    assert [report.step for report in reports] == ["scan", "body"]
    assert [f.code for f in reports[-1].findings if f.severity is Severity.NOTE] == ["no-patches"]
    with pytest.raises(JobError, match="No patches are drawn"):
        make_job(folder, until="blanks")


@pytest.mark.usefixtures("calls")
def test_a_job_without_photos_is_told(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", photos=0)
    before = tree(folder)
    with pytest.raises(JobError, match="has no photos"):
        make_job(folder)
    assert tree(folder) == before


@pytest.mark.usefixtures("calls")
def test_a_second_process_is_told(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    with job_lock(folder, doing="scan"), pytest.raises(JobBusyError, match="scan"):
        make_job(folder)


@pytest.mark.usefixtures("calls")
def test_a_change_kept_just_before_the_job_is_held_is_taken_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_folder(tmp_path / "job")

    @contextmanager
    def late(job: Path, *, doing: str) -> Iterator[None]:
        if doing == "make":
            change_setting(folder, "print", "paper", "A3", words="larger paper")
        with job_lock(job, doing=doing):
            yield

    with monkeypatch.context() as patched:
        patched.setattr("fitkit.job.job_folder.job_lock", late)
        make_job(folder)
    assert open_job(folder).settings.print.paper == "A3"
    assert ran(folder) == []


@pytest.mark.usefixtures("calls")
def test_a_job_moved_elsewhere_is_still_fresh(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    make_job(folder)
    shutil.copytree(folder, tmp_path / "copy")  # times of change differ
    assert ran(tmp_path / "copy") == []


@pytest.mark.usefixtures("calls")
def test_progress_only_rises_and_ends_at_one(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    told: list[float] = []
    make_job(folder, progress=lambda fraction, _: told.append(fraction))
    assert told == sorted(told)
    assert 0.9 < told[-1] <= 1.0


KILLED = """
import sys
from tests.workflow.quick_steps import run_slowly
run_slowly(0.02)
from fitkit.workflow import make_job
print("going", flush=True)
make_job(sys.argv[1])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs kill")
@pytest.mark.usefixtures("calls")
def test_killed_at_any_moment_the_job_opens_and_make_finishes(tmp_path: Path) -> None:
    """The whole of a make takes about 0.6 s here; it is killed at moments spread over that."""
    folder = job_folder(tmp_path / "whole")
    make_job(folder)
    whole = {name: row for name, row in tree(folder).items() if not name.startswith(".fitkit")}
    killed = 0
    for number in range(7):
        folder = job_folder(tmp_path / f"job{number}")
        process = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(folder)], stdout=subprocess.PIPE
        )
        assert process.stdout is not None
        assert process.stdout.readline() == b"going\n"
        time.sleep(0.09 * number)
        process.send_signal(signal.SIGKILL)
        killed += process.wait() == -signal.SIGKILL
        process.stdout.close()
        check_job(folder)
        make_job(folder)
        result = tree(folder)
        assert not any(name.startswith((".fitkit/new", ".fitkit/old")) for name in result)
        assert {n for n in result if not n.startswith(".fitkit")} == set(whole)
        same = {name for name in whole if not name.endswith("made_from.json")}
        assert {name: result[name] for name in same} == {name: whole[name] for name in same}
        assert ran(folder) == []
    assert killed >= 5


def test_scan_adds_photos_once_and_under_names_of_their_own(
    tmp_path: Path, calls: list[str]
) -> None:
    folder = job_folder(tmp_path / "job", photos=3)
    other = tmp_path / "card"
    other.mkdir()
    (other / "IMG_0.jpg").write_bytes(b"another with the same name")
    (other / "IMG_1.jpg").write_bytes(b"photo 1")  # is in the job already
    before = tree(other)
    scanned, shaped = scan_job(folder, [other])
    assert sorted(path.name for path in (folder / "photos").iterdir()) == [
        "IMG_0-2.jpg", "IMG_0.jpg", "IMG_1.jpg", "IMG_2.jpg",
    ]  # fmt: skip
    assert (folder / "photos" / "IMG_0-2.jpg").read_bytes() == b"another with the same name"
    assert tree(other) == before
    assert scanned.ran
    assert shaped.ran
    calls.clear()
    assert not any(report.ran for report in scan_job(folder, [other]))
    assert calls == []


@pytest.mark.usefixtures("calls")
def test_a_scan_that_fails_leaves_no_photo_and_no_setting(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", photos=0)
    for number in range(2):
        (tmp_path / f"{number}.jpg").write_bytes(str(number).encode())
    before = tree(folder)
    with pytest.raises(PhotoError, match="2 photos"):
        scan_job(folder, [tmp_path / "0.jpg", tmp_path / "1.jpg"], printed_mm=(179.0, 199.0))
    assert tree(folder) == before
    assert not (folder / ".fitkit").exists()


@pytest.mark.usefixtures("calls")
def test_the_measured_print_goes_into_job_toml_and_remarks_stay(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    scan_job(folder, printed_mm=(179.5, 199.5))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    assert "printed_mm = [179.5, 199.5]" in text
    assert text.replace("printed_mm = [179.5, 199.5]\n", "") == JOB
    assert ran(folder) == STEPS[2:]
