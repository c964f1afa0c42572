"""Edits of job.toml leave every other line, remarks included, as the maker wrote it."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path

import pytest

from fitkit.errors import JobError
from fitkit.job.settings_edits import (
    new_job_text,
    with_row,
    with_setting,
    without_row,
    without_setting,
)
from fitkit.job.settings_text import read_settings, settings_problems

TEXT = (Path(__file__).parent / "samples" / "job_format_1.toml").read_text(encoding="utf-8")


def touched(before: str, after: str) -> tuple[list[str], list[str]]:
    """Return the lines that went and those that came, blank ones left out."""
    rows = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    went = [row[2:] for row in rows if row.startswith("- ") and row[2:].strip()]
    came = [row[2:] for row in rows if row.startswith("+ ") and row[2:].strip()]
    return went, came


def test_a_setting_changes_only_its_line() -> None:
    after = with_setting(TEXT, "capture", "printed_mm", [180.5, 200.25])
    assert touched(TEXT, after) == (
        ["printed_mm = [179.2, 199.1]"],
        ["printed_mm = [180.5, 200.25]"],
    )


def test_a_new_setting_joins_its_section() -> None:
    after = with_setting(TEXT, "capture", "longest_px", 1800)
    assert touched(TEXT, after) == ([], ["longest_px = 1800"])
    assert read_settings(after).capture.longest_px == 1800
    assert after.index("longest_px") < after.index("[form]")


def test_a_new_section_stands_before_the_rows() -> None:
    after = with_setting(TEXT, "body", "from_mesh", "stand-in.ply")
    assert touched(TEXT, after) == ([], ["[body]", 'from_mesh = "stand-in.ply"'])
    assert read_settings(after).body.from_mesh == "stand-in.ply"
    assert after.index("[body]") < after.index("# The round under the ribs.")


def test_a_row_is_added_behind_its_like_and_nothing_else_moves() -> None:
    values = {"name": "hip", "kind": "level", "height_mm": 900.0}
    after = with_row(TEXT, "line", values)
    assert touched(TEXT, after) == (
        [],
        ["[[line]]", 'name = "hip"', 'kind = "level"', "height_mm = 900.0"],
    )
    assert [line.name for line in read_settings(after).line][-1] == "hip"
    assert without_row(after, "line", "hip").split() == TEXT.split()


def test_places_and_words_survive_being_written() -> None:
    values = {
        "name": 'the "long" one',
        "kind": "through",
        "points": [{"axis": "left arm", "along": 0.5, "bearing_deg": -90.0}, {"landmark": "nape"}],
    }
    assert tomllib.loads(with_row(TEXT, "line", values))["line"][-1] == values


def test_the_first_row_of_a_job_goes_to_the_end() -> None:
    text = new_job_text("Heron")
    after = with_row(text, "line", {"name": "waist", "kind": "level", "height_mm": 1000})
    assert after.startswith(text)
    assert [line.name for line in read_settings(after).line] == ["waist"]


def test_a_row_is_taken_out_with_its_lines_only() -> None:
    after = without_row(TEXT, "line", "middle")
    assert sorted(touched(TEXT, after)[0]) == sorted(
        ["[[line]]", 'name = "middle"', 'kind = "symmetry"']
    )
    assert touched(TEXT, after)[1] == []
    with pytest.raises(JobError, match="no line called 'middle'"):
        without_row(after, "line", "middle")


def test_a_row_in_a_remark_is_not_taken_for_a_row() -> None:
    text = TEXT.replace("# The round under the ribs.", "# [[line]]\n# name = 'middle'")
    after = without_row(text, "line", "middle")
    assert "# [[line]]\n# name = 'middle'" in after
    assert [line["name"] for line in tomllib.loads(after)["line"]] == [
        line["name"] for line in tomllib.loads(TEXT)["line"] if line["name"] != "middle"
    ]


def test_a_new_job_reads_and_says_what_can_be_set() -> None:
    text = new_job_text('Heron "W"', wearer="Mira", tape_mm={"upper arm": "31 cm"})
    settings = read_settings(text)
    assert (settings.job.name, settings.wearer.name) == ('Heron "W"', "Mira")
    assert settings.wearer.tape == {"upper arm": 310.0}
    assert settings.capture.printed_mm is None


def test_the_example_in_a_new_job_is_right() -> None:
    text = new_job_text("Heron")
    example = text.split("for example:\n")[1]
    shown = "\n".join(line.removeprefix("#").strip() for line in example.splitlines())
    _, problems = settings_problems(text + shown)
    # the lines "chest" and "left side" are left to the maker; nothing else is wrong
    assert {problem.cause for problem in problems} == {
        "there is no tape line 'chest' (lines).",
        "there is no tape line 'left side' (lines).",
    }


def test_a_line_of_the_tape_list_is_set_and_taken_out_in_its_own_section() -> None:
    longer = with_setting(EXAMPLE_WITH_TAPE, "wearer.tape", "chest", "98 cm")
    assert longer == EXAMPLE_WITH_TAPE.replace(
        'waist = "77 cm" # taut\n', 'waist = "77 cm" # taut\nchest = "98 cm"\n'
    )
    assert without_setting(longer, "wearer.tape", "chest") == EXAMPLE_WITH_TAPE
    assert without_setting(longer, "wearer.tape", "neck") == longer


def test_a_tape_list_is_begun_before_the_rows() -> None:
    text = 'format = 1\n\n[wearer]\nname = "Robin"\n\n# lines\n[[line]]\nname = "waist"\n'
    told = with_setting(text, "wearer.tape", "left upper arm", 302.0)
    assert told == text.replace("# lines", '[wearer.tape]\n"left upper arm" = 302.0\n\n# lines')


def test_a_section_is_added_at_the_end_where_there_are_no_rows() -> None:
    told = with_setting("format = 1\n", "print", "paper", "A3")
    assert told == 'format = 1\n\n[print]\npaper = "A3"\n'


EXAMPLE_WITH_TAPE = """\
[wearer]
name = "Robin"

[wearer.tape] # by the tape
waist = "77 cm" # taut

[[line]]
name = "waist"
"""
