"""The commands: exit codes, one cause and one remedy, the same facts as JSON."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.cli.plain_help import plain_help
from fitkit.job.job_lock import job_lock
from tests.workflow.quick_steps import JOB, job_folder, tree

COMMANDS = ["demo", "markers", "start", "scan", "body", "measure", "line", "patch"]
COMMANDS += ["flatten", "print", "make", "check"]
EDITING = [f"line {word}" for word in ("list", "add", "change", "rename", "remove", "show")]
EDITING += [f"patch {word}" for word in ("list", "add", "change", "rename", "split", "join")]
EDITING += ["patch remove", "patch show"]


def run(*words: object) -> Any:
    return CliRunner().invoke(app, [str(word) for word in words])


def fault(result: Any) -> tuple[str, str]:
    """Return cause and remedy after checking that standard error ends in exactly these two."""
    assert result.exit_code == 1, result.output
    assert "Traceback" not in result.stderr
    told = [row for row in result.stderr.splitlines() if not re.match(r" *\d+ %  ", row)]
    assert [row.split(":")[0] for row in told] == ["cause", "remedy"], result.stderr
    cause, remedy = (row.split(": ", 1)[1] for row in told)
    assert len(cause) > 10
    assert len(remedy) > 5
    return cause, remedy


def test_help_lists_every_command_and_loads_nothing_heavy() -> None:
    """That is what keeps it under half a second."""
    code = (
        "import sys\nsys.argv = ['fitkit', '--help']\nfrom fitkit.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    code = end.code\n"
        "heavy = {'cv2', 'open3d', 'numpy', 'igl', 'matplotlib', 'scipy', 'numba', 'PIL',"
        " 'pydantic', 'skimage', 'shapely', 'reportlab', 'ezdxf'} & set(sys.modules)\n"
        "print('HEAVY', sorted(heavy), 'CODE', code)"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert "HEAVY [] CODE 0" in result.stdout
    for command in COMMANDS:
        assert re.search(rf"^ +{command} ", result.stdout, re.MULTILINE), command


@pytest.mark.parametrize("command", [*sorted({*COMMANDS} - {"line", "patch"}), *EDITING])
def test_every_command_has_help(command: str) -> None:
    result = run(*command.split(), "--help")
    assert result.exit_code == 0
    assert "--json" in result.output


def test_help_is_in_a_makers_words(capsys: pytest.CaptureFixture[str]) -> None:
    """No types of Python's and no line of a list of commands cut off, in any command."""
    left: list[tuple[Any, list[str]]] = [(plain_help(get_command(app)), [])]
    shown = 0
    while left:
        command, words = left.pop()
        command.main([*words, "--help"], prog_name="fitkit", standalone_mode=False)
        told = capsys.readouterr().out
        assert not re.search(r"<[a-z]|\bTEXT\b|INTEGER|FLOAT|stale", told), told
        assert "..." not in told.partition("Commands:")[2], told
        shown += 1
        left += [] if words else [(command, [name]) for name in command.commands]
        if len(words) == 1:
            inner = command.commands[words[0]]
            left += [(command, [*words, name]) for name in getattr(inner, "commands", {})]
    assert shown > 50


def test_the_version_is_told() -> None:
    assert run("--version").output.startswith("fitkit ")


@pytest.mark.parametrize(
    "words", [["make"], ["polish", "job"], ["scan", "j", "--printed-mm", "x"], ["line", "add", "j",
    "x", "--level", "1", "--middle"], ["line", "add", "j", "x"], ["patch", "add", "j", "x"],
    ["line", "change", "j", "x"], ["patch", "change", "j", "x"], ["markers", "--count", "no"]],
)  # fmt: skip
def test_wrong_usage_is_exit_two(words: list[str]) -> None:
    assert run(*words).exit_code == 2


@pytest.mark.parametrize("command", ["scan", "measure", "line list", "line show", "patch list",
                                     "patch show", "flatten", "make", "print",
                                     "check"])  # fmt: skip
def test_what_is_no_job_is_told(command: str, tmp_path: Path) -> None:
    words = command.split()
    cause, remedy = fault(run(*words, tmp_path))
    assert "holds no job.toml" in cause
    assert "fitkit start" in remedy
    cause, remedy = fault(run(*words, tmp_path / "nowhere"))
    assert "There is no folder" in cause
    assert list(tmp_path.iterdir()) == []


def test_start_makes_a_job_that_checks(tmp_path: Path) -> None:
    folder = tmp_path / "heron-warden"
    result = run("start", folder, "--wearer", "Mira", "--tape", "chest=98 cm")
    assert result.exit_code == 0
    text = (folder / "job.toml").read_text(encoding="utf-8")
    assert 'name = "heron warden"' in text
    assert 'chest = "98 cm"' in text
    assert run("check", folder).exit_code == 0
    cause, _ = fault(run("start", folder))
    assert "is a job already" in cause


@pytest.mark.parametrize("row", ["chest", "=98 cm", "chest=much", "chest=-3 cm"])
def test_start_refuses_a_bad_tape_list_and_makes_nothing(row: str, tmp_path: Path) -> None:
    fault(run("start", tmp_path / "job", "--tape", row))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("calls")
def test_make_says_what_ran_and_the_second_time_that_nothing_did(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    first = run("make", folder)
    assert first.exit_code == 0
    for step in ("scan", "body", "patches", "blanks", "templates", "pages"):
        assert re.search(rf"^{step} +made", first.stdout, re.MULTILINE)
    second = run("make", folder)
    assert second.exit_code == 0
    assert second.stdout.count("still holds, left alone") == 6
    assert "Nothing to make" in second.stdout


@pytest.mark.usefixtures("calls")
def test_json_gives_the_same_facts(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    made = json.loads(run("make", folder, "--json").stdout)
    assert [step["step"] for step in made["steps"]][-1] == "pages"
    assert made["exit"] == 0
    assert all(Path(path).is_file() for step in made["steps"] for path in step["files"])
    check = json.loads(run("check", folder, "--json").stdout)
    assert {step["state"] for step in check["steps"]} == {"fresh"}
    codes = [finding["code"] for finding in check["findings"]]
    assert codes == ["photo-far", "seam-mismatch"]
    lines = json.loads(run("line", "list", folder, "--json").stdout)
    assert lines["lines"] == [{"name": "waist", "kind": "level", "height_mm": 0.5}]


def test_json_tells_faults_too(tmp_path: Path) -> None:
    result = run("make", tmp_path, "--json")
    cause, remedy = fault(result)
    told = json.loads(result.stdout)
    assert told["exit"] == 1
    assert told["error"] == {"kind": "JobError", "cause": cause, "remedy": remedy}


@pytest.mark.usefixtures("calls")
def test_a_standing_stop_finding_is_exit_three(tmp_path: Path) -> None:
    text = JOB.replace('name = "belt"', 'name = "belt"\nmaterial = "leather"')
    folder = job_folder(tmp_path / "job", text=text)
    for command in ("make", "make", "check"):
        result = run(command, folder)
        assert result.exit_code == 3, command
        assert "stop     belt: Stretches 30 %. Cut." in result.stdout


def test_problems_of_job_toml_are_faults_of_make_and_findings_of_check(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job", text=JOB.replace("height_mm = 0.5", "hight_mm = 0.5"))
    cause, remedy = fault(run("make", folder))
    assert 'job.toml line 19, [[line]] "waist"' in cause
    assert remedy == "Did you mean 'height_mm'?"
    result = run("check", folder)
    assert result.exit_code == 3
    assert "job.toml line 19" in result.stdout


@pytest.mark.usefixtures("calls")
def test_a_busy_job_is_told_and_can_still_be_checked(tmp_path: Path) -> None:
    folder = job_folder(tmp_path / "job")
    with job_lock(folder, doing="scan"):
        cause, _ = fault(run("make", folder))
        assert f"Process {os.getpid()} (scan)" in cause
        assert run("check", folder).exit_code == 0


@pytest.mark.usefixtures("calls")
def test_an_error_of_our_own_is_told_without_a_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_folder(tmp_path / "job")
    before = tree(folder)

    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("float division\nby zero")

    module = sys.modules["fitkit.capture.reconstruct"]
    monkeypatch.setattr(module, "reconstruct", fails)
    cause, remedy = fault(run("make", folder))
    assert "ZeroDivisionError: float division by zero" in cause
    assert "FITKIT_TRACE" in remedy
    assert tree(folder) == before


@pytest.mark.usefixtures("calls")
def test_a_missing_system_library_is_named_with_its_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_folder(tmp_path / "job")

    def fails(*_: object, **__: object) -> None:
        raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")

    module = sys.modules["fitkit.capture.solve_cameras"]
    monkeypatch.setattr(module, "solve_cameras", fails)
    cause, remedy = fault(run("make", folder))
    assert "libGL.so.1" in cause
    assert "apt-get install libgl1" in remedy


@pytest.mark.usefixtures("calls")
def test_stopping_by_hand_leaves_the_job_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_folder(tmp_path / "job")
    before = tree(folder)

    def stops(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sys.modules["fitkit.capture.reconstruct"], "reconstruct", stops)
    cause, _ = fault(run("make", folder))
    assert "stopped by hand" in cause
    assert tree(folder) == before


def test_lines_and_patches_are_added_listed_and_taken_out(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    run("start", folder)
    original = (folder / "job.toml").read_text(encoding="utf-8")
    for words in (
        ["waist", "--level", "105 cm"],
        ["chest", "--level", "1250", "--tilt-deg", "3"],
        ["side", "--straight", "on waist:0.25", "--straight", "1250@90"],
        ["cuff", "--limb", "left arm", "--along", "0.8"],
        ["hole", "--through", "left arm:0.1@0", "--through", "nape",
         "--through", "10,20,1300", "--closed"],
        ["middle", "--middle"],
        ["belt", "--parallel-to", "waist", "--distance", "4 cm", "--towards", "down"],
        ["right side", "--mirror-of", "side"],
        ["disc", "--round", "1200@180", "--radius", "60"],
    ):  # fmt: skip
        result = run("line", "add", folder, *words)
        assert result.exit_code == 0, result.stderr
    result = run("patch", "add", folder, "plate", "--line", "waist", "--line", "chest",
                 "--line", "side", "--line", "middle", "--inside", "1150@40", "--side", "left",
                 "--pair", "--lap", "side=1 cm", "--grain", "up", "--grain-deg", "15",
                 "--note", "over the belt")  # fmt: skip
    assert result.exit_code == 0, result.stderr
    result = run("patch", "add", folder, "badge", "--inside", "1200@180", "--radius", "40")
    assert result.exit_code == 0
    lines = json.loads(run("line", "list", folder, "--json").stdout)["lines"]
    assert [line["name"] for line in lines] == [
        "waist", "chest", "side", "cuff", "hole", "middle", "belt", "right side", "disc",
    ]  # fmt: skip
    assert lines[0]["height_mm"] == 1050.0
    assert lines[2]["points"][0] == {"line": "waist", "along": 0.25}
    assert lines[4]["points"][2] == {"xyz_mm": [10.0, 20.0, 1300.0]}
    assert lines[6]["distance_mm"] == 40.0
    words = run("line", "list", folder).stdout
    assert "on waist:0.25; 1250@90" in words
    patches = json.loads(run("patch", "list", folder, "--json").stdout)["patches"]
    assert patches[0]["edges"] == {"side": {"lap_mm": 10.0}}
    assert patches[0]["grain_deg"] == 15.0
    assert patches[1]["radius_mm"] == 40.0
    cause, _ = fault(run("line", "remove", folder, "side"))
    assert "no tape line 'side'" in cause
    for name in ("plate", "badge"):
        assert run("patch", "remove", folder, name).exit_code == 0
    for line in reversed(lines):
        assert run("line", "remove", folder, line["name"]).exit_code == 0
    assert (folder / "job.toml").read_text(encoding="utf-8").split() == original.split()


def test_lines_and_patches_are_changed_and_renamed_and_remarks_stay(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    run("start", folder)
    run("line", "add", folder, "waist", "--level", "1050")
    run("line", "add", folder, "side", "--straight", "on waist", "--straight", "1250@90")
    run("patch", "add", folder, "plate", "--line", "waist", "--line", "side", "--inside", "1150@40",
        "--lap", "waist=12", "--lap", "side=8", "--seam", "side")  # fmt: skip
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8").replace("1050.0", "1050.0 # by the belt")
    path.write_text(text, encoding="utf-8")
    for words in (
        ["line", "change", folder, "waist", "--level", "106 cm"],
        ["line", "change", folder, "side", "--point", "2=1260@85"],
        ["line", "rename", folder, "waist", "belt line"],
        ["patch", "change", folder, "plate", "--material", "leather", "--lap", "side=0",
         "--without", "seam"],
        ["patch", "rename", folder, "plate", "tasset"],
    ):  # fmt: skip
        result = run(*words)
        assert result.exit_code == 0, result.stderr
    lines = json.loads(run("line", "list", folder, "--json").stdout)["lines"]
    assert lines[0] == {"name": "belt line", "kind": "level", "height_mm": 1060.0}
    assert lines[1]["points"] == [{"line": "belt line"}, {"height_mm": 1260.0, "bearing_deg": 85.0}]
    (patch,) = json.loads(run("patch", "list", folder, "--json").stdout)["patches"]
    assert patch == {
        "name": "tasset",
        "lines": ["belt line", "side"],
        "inside": {"height_mm": 1150.0, "bearing_deg": 40.0},
        "material": "leather",
        "edges": {"belt line": {"lap_mm": 12.0}, "side": {"lap_mm": 0.0}},
    }
    assert "# by the belt" in path.read_text(encoding="utf-8")
    # A line of another kind keeps its name and place; what told it before goes.
    assert run("line", "change", folder, "side", "--middle").exit_code == 0
    lines = json.loads(run("line", "list", folder, "--json").stdout)["lines"]
    assert lines[1] == {"name": "side", "kind": "symmetry"}
    for words, cause in (
        (["line", "change", folder, "side", "--point", "1=1@2"], "has 0 points, not 1"),
        (["line", "change", folder, "belt line", "--point", "x"], "does not say which place"),
        (["line", "rename", folder, "side", "belt line"], "taken by 'belt line'"),
        (["patch", "change", folder, "tasset", "--without", "seam"], "has no 'seam' to take out"),
        (["patch", "rename", folder, "plate", "x"], "no patch called 'plate'"),
        (["patch", "split", folder, "tasset", "new", "--along", "side"], "no body to draw on"),
        (["line", "show", folder], "no body to draw on"),
        (["patch", "show", folder], "no body to draw on"),
    ):
        before = tree(folder)
        told, remedy = fault(run(*words))
        assert cause in told
        assert remedy
        assert tree(folder) == before


@pytest.mark.parametrize("place", ["1200@", "@30", "arm:x@3", "1,2", "", "1200@north"])
def test_a_place_that_cannot_be_read_is_told(place: str, tmp_path: Path) -> None:
    run("start", tmp_path / "job")
    before = tree(tmp_path)
    _, remedy = fault(run("line", "add", tmp_path / "job", "x", "--straight", place,
                          "--straight", "1@2"))  # fmt: skip
    assert "HEIGHT@BEARING" in remedy or "cm" in remedy
    assert tree(tmp_path) == before


def test_measure_before_there_is_a_body_is_told(tmp_path: Path) -> None:
    cause, remedy = fault(run("measure", job_folder(tmp_path / "job")))
    assert "no body to measure" in cause
    assert "fitkit make" in remedy


def test_the_demo_says_where_its_sample_is_looked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fitkit

    monkeypatch.setattr(fitkit, "__file__", str(tmp_path / "site" / "fitkit" / "__init__.py"))
    monkeypatch.chdir(tmp_path)
    cause, _ = fault(run("demo"))
    assert "sample_scans/heron_warden" in cause
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("calls")
def test_the_demo_copies_the_sample_and_goes_on_with_its_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fitkit

    sample = job_folder(tmp_path / "clone" / "sample_scans" / "heron_warden")
    before = tree(sample)
    monkeypatch.setattr(fitkit, "__file__", str(tmp_path / "site" / "fitkit" / "__init__.py"))
    monkeypatch.chdir(tmp_path / "clone")
    assert run("demo").exit_code == 0
    copy = tmp_path / "clone" / "heron-warden-demo"
    assert (copy / "out" / "templates.pdf").is_file()
    assert tree(sample) == before
    text = (copy / "job.toml").read_text(encoding="utf-8").replace("Mira", "Ada")
    (copy / "job.toml").write_text(text, encoding="utf-8")
    result = run("demo")
    assert result.exit_code == 0
    assert re.search("^templates +made", result.stdout, re.MULTILINE)
    assert re.search("^scan +still holds", result.stdout, re.MULTILINE)
    other = tmp_path / "taken"
    other.mkdir()
    (other / "letter").write_text("mine")
    cause, _ = fault(run("demo", other))
    assert "is not a job" in cause
