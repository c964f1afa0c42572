"""Reading job.toml: values in millimetres, and problems named by line, section and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitkit.errors import JobError
from fitkit.job.settings_text import read_settings, settings_problems

SAMPLE = Path(__file__).parent / "samples" / "job_format_1.toml"


def changed(old: str, new: str) -> str:
    text = SAMPLE.read_text(encoding="utf-8")
    assert text.count(old) >= 1
    return text.replace(old, new, 1)


def line_number(text: str, part: str) -> int:
    return 1 + next(i for i, line in enumerate(text.splitlines()) if part in line)


def test_lengths_with_units_become_millimetres() -> None:
    """The inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""
    settings = read_settings(SAMPLE.read_text(encoding="utf-8"))
    assert settings.wearer.tape == {"chest": 980.0, "waist": 812.0}
    assert settings.form.clearance_mm == pytest.approx(6.35, abs=1e-12)
    assert settings.capture.bottom_mm == 700.0
    assert settings.capture.printed_mm == (179.2, 199.1)


@pytest.mark.parametrize(
    ("old", "new", "cause", "remedy"),
    [
        ("height_mm = 1250", "heigt_mm = 1250", "'heigt_mm' is not a word", "'height_mm'"),
        ("printed_mm", "printed", "'printed' is not a word", "'printed_mm'"),
        (
            "printed_mm = [179.2, 199.1]",
            'checks = ["1-5"]',
            "'1-5' is not a check length",
            "1-5=1.84 m",
        ),
        ("printed_mm = [179.2, 199.1]", "checks = [5]", "", "1-5=1.84 m"),
        ("printed_mm = [179.2, 199.1]", 'tags = "36h11"', "", "side_mm = 24"),
        ("printed_mm = [179.2, 199.1]", 'tags = "36h12"\nside_mm = 24', "no tag family", "36h11"),
        ("bottom_mm =", 'tags = "36h11"\nside_mm = 24\nbottom_mm =', "", "own marker sheets"),
        ("[form]", '[body]\nmesh_unit = "ell"\n[form]', "'mesh_unit' is 'ell'", "'cm'"),
        ("[form]", '[body]\nup = "w"\n[form]', "'up' does not fit (it is 'w')", "-z"),
        ("[form]", '[body]\nfront = "-y"\n[form]', "", 'up = "z"'),
        ("[form]", "[body]\nup = [0, 1, 0]\n[form]", "", "Give front"),
        ("[form]", "[body.stand]\nhig = [0, 0, 1]\n[form]", "", ""),
        ("[form]", '[body.landmarks]\ncrotch = ["a", 0, 0]\n[form]', "'a' is not a length", "cm"),
        ("[form]", '[[girth]]\nname = "belt"\n[form]', "", "height_mm, or axis and along"),
        (
            "[form]",
            '[[girth]]\nname = "belt"\nhigh_mm = 3\n[form]',
            "'high_mm' is not",
            "height_mm",
        ),
        ("[capture]", "[captur]", "'captur' is not a word", "'capture'"),
        ('"98 cm"', '"98 ells"', "'98 ells' is not a length", "cm"),
        ('"98 cm"', "-4", "'chest'", "above zero"),
        ('kind = "symmetry"', 'kind = "simmetry"', "no line of kind 'simmetry'", "'symmetry'"),
        ('kind = "symmetry"', "", "a line needs a kind", '"level"'),
        ('name = "Heron Warden"', "", "'name' is missing", "Add name"),
        ("along = 0.25", "along = 25", "'along' is 25", "less than or equal to 1"),
        ("along = 0.25", "height_mm = 900", "", "Give along"),
        ("{height_mm = 1050, bearing_deg = 90}", "{height_mm = 1050}", "", "landmark, or height"),
        ('{landmark = "left armpit"}', '{landmarc = "x"}', "'landmarc' is not a", "'landmark'"),
        ('lines = ["waist", "chest", "mid', 'lines = ["wast", "chest", "mid', "'wast'", "'waist'"),
        ('seam = "middle"', 'seam = "midle"', "no tape line 'midle'", "'middle'"),
        ('{"left side" = {lap', '{"left sid" = {lap', "'left sid'", "'left side'"),
        ("{lap_mm = 12}", "{lap = 12}", "'lap' is not a word", "'lap_mm'"),
        ('side = "left"', "", "", 'side = "left"'),
        ('"Aluminum 5052-H32"', '"alumnium 5052-H32"', "no material", "'aluminium 5052-H32'"),
        ('paper = "a3"', 'paper = "A9"', "no paper called 'A9'", "A4"),
        ('paper = "a3"', 'paper = "A4"\nmargin_mm = 80', "", "leave 40 mm"),
        ('name = "belt"', 'name = "Breast  Plate"', "taken by 'breast plate'", "name of its own"),
        ("thickness_mm = 1.2", "thickness_mm = 0", "", "above zero"),
        ("closed = true", 'closed = "perhaps"', "'closed' is 'perhaps'", "boolean"),
        ("clearance_mm = 12", "clearance_mm = nan", "", "finite"),
    ],
)
def test_a_problem_names_its_line_and_the_remedy(
    old: str, new: str, cause: str, remedy: str
) -> None:
    text = changed(old, new)
    with pytest.raises(JobError) as caught:
        read_settings(text)
    assert cause in caught.value.cause
    assert remedy in caught.value.remedy
    assert "job.toml" in caught.value.cause
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "shown"),
    [
        ("height_mm = 1250", "heigt_mm = 1250", "heigt_mm"),
        ('"98 cm"', '"98 ells"', "98 ells"),
        ("along = 0.25", "along = 25", "along = 25"),
        ('seam = "middle"', 'seam = "midle"', "midle"),
        ("thickness_mm = 1.2", "thickness_mm = 0", "thickness_mm = 0"),
        ("clearance_mm = 12", "clearance = 12", "clearance = 12"),
    ],
)
def test_the_line_number_is_that_of_the_slip(old: str, new: str, shown: str) -> None:
    text = changed(old, new)
    _, problems = settings_problems(text)
    assert [problem.line for problem in problems] == [line_number(text, shown)]


def test_every_problem_is_listed_and_the_error_counts_the_rest() -> None:
    text = changed("height_mm = 1250", "heigt_mm = 1250").replace("along = 0.25", "along = 25")
    settings, problems = settings_problems(text)
    assert settings is None
    # the missing place of the level "chest" follows from the slip and is not told twice
    assert len(problems) >= 2
    with pytest.raises(JobError, match="1 more: fitkit check"):
        read_settings(text)


def test_a_broken_line_is_named() -> None:
    text = changed('name = "Mira"', 'name = "Mira')
    with pytest.raises(JobError, match=f"line {line_number(text, 'Mira')}"):
        read_settings(text)


def test_a_newer_format_is_refused_with_words() -> None:
    with pytest.raises(JobError, match="newer fitkit \\(format 7; this one knows 1\\)") as caught:
        read_settings(changed("format = 1", "format = 7"))
    assert "Update fitkit" in caught.value.remedy


def test_a_missing_format_is_told() -> None:
    with pytest.raises(JobError, match="format number is missing"):
        read_settings(changed("format = 1", ""))


@pytest.mark.parametrize(
    ("row", "known"),
    [
        ("[[correction]]\nfoo = 1", "patch, edges, holes, pencil"),
        ("[[pivot]]\nfoo = 1", "patch, joint, at, share, screw_mm, screw_metal"),
        ("[[lames]]\nfoo = 1", "name, of, joint, hole_mm, rivet_metal, gap_mm"),
        ('[[line]]\nname = "a"\nkind = "mirrored"\nfoo = 1', "name, kind, of"),
        ('[[patch]]\nname = "a"\ncuts = [{ foo = 1 }]', "edge, tip"),
        ('[[patch]]\nname = "a"\nno_cuts = [{ foo = 1 }]', "at, within_mm"),
        ("[[stock]]\nbad = [{ foo = 1 }]", "at_mm, within_mm, corners_mm"),
        ("[body.stand]\nfoo = 1", "low, high, front"),
    ],
)
def test_a_wrong_word_is_told_the_words_of_its_own_section(row: str, known: str) -> None:
    _, problems = settings_problems(f'format = 1\n[job]\nname = "x"\n{row}\n')
    assert f"Known here: {known}." in [one.remedy for one in problems]


_CONE = """format = 1
[job]
name = "x"

[[attachment]]
name = "beak"
on = "breast plate"
at = {landmark = "navel"}
kind = "tube"
height_mm = 40
across_mm = 30
top_mm = 12
"""


def test_a_section_that_does_not_fit_together_names_the_words_at_fault() -> None:
    (problem,) = settings_problems(_CONE)[1]
    assert problem.place() == 'job.toml line 12, [[attachment]] "beak"'
    assert problem.cause == "'top_mm' and 'kind' do not fit together."
    assert problem.remedy == "Only a cone has an open top: leave top_mm out."


def test_a_single_word_at_fault_is_told_with_its_value() -> None:
    text = changed("thickness_mm = 1.2", "thickness_mm = 1.2\ngrain_deg = 20")
    (problem,) = settings_problems(text)[1]
    assert problem.line == line_number(text, "grain_deg")
    assert problem.cause.startswith("'grain_deg' does not fit (it is 20")


def test_where_words_are_missing_none_is_blamed() -> None:
    text = changed("[form]", '[[girth]]\nname = "belt"\n[form]')
    (problem,) = settings_problems(text)[1]
    assert problem.cause == "it does not fit together."
    assert problem.line == line_number(text, "[[girth]]")


_STOCK = """format = 1
[job]
name = "x"

[[stock]]
name = "left over"
material = "card"
thickness_mm = 0.5
outline_mm = [[0, 0], [300, 0], [300, 300], [0, 300]]
bad = [{corners_mm = [[0, 0], [50, 0], [50, 50], [0, 50]]}]
"""


@pytest.mark.parametrize(
    ("old", "new", "word", "whose"),
    [
        ("[300, 0], [300, 300]", "[300, 300], [300, 0]", "outline_mm", "the sheet"),
        ("[300, 0], [300, 300], [0, 300]", "[300, 0], [150, 0]", "outline_mm", "the sheet"),
        ("[50, 0], [50, 50]", "[50, 50], [50, 0]", "corners_mm", "the bad zone"),
    ],
)
def test_corners_of_stock_that_do_not_go_once_round_are_told_at_once(
    old: str, new: str, word: str, whose: str
) -> None:
    assert settings_problems(_STOCK)[1] == ()
    text = _STOCK.replace(old, new)
    (problem,) = settings_problems(text)[1]
    assert problem.cause == f"The outline of {whose} crosses itself or has no area."
    assert problem.line == line_number(text, word)
    assert "in order" in problem.remedy
