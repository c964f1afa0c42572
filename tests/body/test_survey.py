"""The survey's table is the published data's, and what is left out follows what is given."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from fitkit.body.survey import (
    SURVEY_GROUPS,
    SurveyGroup,
    filled_tape_mm,
    survey_mm,
    survey_names,
    survey_spread_mm,
)
from fitkit.errors import InputError
from tests.references import survey_table

REPOSITORY = Path(__file__).resolve().parents[2]
SHARED_DATA = Path(os.environ.get("FITKIT_SHARED_DATA", REPOSITORY.parent / "shared" / "data"))
ANSUR = SHARED_DATA / "ansur2"
needs_the_data = pytest.mark.skipif(
    not ANSUR.is_dir(), reason="the survey's individual data are not on this machine"
)


def test_the_survey_s_values_are_those_published() -> None:
    """Gordon et al., NATICK/TR-15/007, 2014: means of the individual data it describes."""
    assert survey_mm("chest", "men") == 1058.7
    assert survey_mm("chest", "women") == 946.9
    assert survey_mm("stature", "men", deviations=1.0) == pytest.approx(1756.2 + 68.6)
    assert survey_spread_mm("head", "women") == 19.4
    with pytest.raises(InputError, match="ear"):
        survey_mm("ear", "men")


@needs_the_data
def test_the_table_is_what_the_individual_data_give() -> None:
    assert survey_table.table_text(ANSUR) == survey_table.TABLE.read_text(encoding="utf-8")


@pytest.mark.parametrize("group", SURVEY_GROUPS)
def test_percentiles_from_mean_and_spread_lie_near_those_of_the_data(group: SurveyGroup) -> None:
    """The survey's own 5th and 95th percentiles; skewed girths differ by up to 30 mm."""
    percentiles = {
        "men": {"stature": (1648, 1870), "chest": (922, 1207), "neck": (360, 443)},
        "women": {"stature": (1525, 1740), "chest": (824, 1094), "neck": (302, 363)},
    }
    for name, (low, high) in percentiles[group].items():
        assert survey_mm(name, group, deviations=-1.645) == pytest.approx(low, abs=30)
        assert survey_mm(name, group, deviations=1.645) == pytest.approx(high, abs=30)


def test_nothing_given_is_the_mean_and_all_that_is_given_stays() -> None:
    whole, filled = filled_tape_mm({}, "women")
    assert filled == survey_names()
    assert whole == {name: pytest.approx(survey_mm(name, "women")) for name in survey_names()}
    some, filled = filled_tape_mm({" Chest ": 1000.0, "left  calf": 350.0, "hat": 9.0}, "women")
    assert some["chest"] == 1000.0
    assert some["calf"] == 350.0
    assert not {"chest", "calf", "hat"} & set(filled)
    arms, _ = filled_tape_mm({"left upper arm": 300.0, "right upper arm": 310.0}, "men")
    assert arms["upper arm"] == 305.0


@needs_the_data
@pytest.mark.parametrize("group", SURVEY_GROUPS)
def test_what_is_filled_in_is_nearer_to_people_than_the_mean(group: SurveyGroup) -> None:
    """Four numbers of each tenth person foretell the rest as a regression on the data does.

    A least-squares fit to the individual data is the reference; the table is rounded, and a
    little of every number is taken for an error of the tape.
    """
    names = list(survey_names())
    people = survey_table.people(ANSUR, group)
    given = [names.index(name) for name in ("stature", "chest", "waist", "hip")]
    design = np.column_stack([np.ones(len(people)), people[:, given]])
    fit = design @ np.linalg.lstsq(design, people, rcond=None)[0]
    for person in range(0, len(people), 400):
        few = {names[k]: float(people[person, k]) for k in given}
        whole, filled = filled_tape_mm(few, group)
        for name in filled:
            k = names.index(name)
            away = abs(whole[name] - fit[person, k]) / survey_spread_mm(name, group)
            assert away < 0.15, (person, name)


def test_two_numbers_that_contradict_each_other_do_not_drive_the_rest_wild() -> None:
    """A neck height almost as tall as the stature occurs in nobody."""
    whole, _ = filled_tape_mm({"stature": 1700.0, "neck height": 1620.0}, "men")
    for name, length in whole.items():
        if name not in ("stature", "neck height"):
            assert abs(length - survey_mm(name, "men")) < 6 * survey_spread_mm(name, "men"), name
