"""A torso from the tape list alone: the list is met, the rest is the survey's, and it says so."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.survey import SURVEY_GROUPS, SurveyGroup, filled_tape_mm, survey_mm
from fitkit.body.tape_measure import tape_measures
from fitkit.body.tape_stand_in import tape_stand_in
from fitkit.errors import InputError
from fitkit.findings import Severity
from fitkit.geometry.topology import euler_characteristic, is_closed

# 5th and 95th percentile lie this many standard deviations off the mean of a normal spread.
DEVIATIONS = 1.645
NAMES = ("stature", "chest", "waist", "hip", "neck", "upper arm", "neck height", "waist height")


def test_the_survey_s_values_are_those_published() -> None:
    """Gordon et al., NATICK/TR-15/007, 2014: means of the individual data it describes."""
    assert survey_mm("chest", "men") == 1058.7
    assert survey_mm("chest", "women") == 946.9
    assert survey_mm("stature", "men", deviations=1.0) == pytest.approx(1756.2 + 68.6)
    with pytest.raises(InputError, match="ear"):
        survey_mm("ear", "men")


@pytest.mark.parametrize("group", SURVEY_GROUPS)
def test_percentiles_from_mean_and_spread_lie_near_those_of_the_data(group: SurveyGroup) -> None:
    """The survey's own 5th and 95th percentiles; skewed girths differ by up to 30 mm."""
    percentiles = {
        "men": {"stature": (1648, 1870), "chest": (922, 1207), "neck": (360, 443)},
        "women": {"stature": (1525, 1740), "chest": (824, 1094), "neck": (302, 363)},
    }
    for name, (low, high) in percentiles[group].items():
        assert survey_mm(name, group, deviations=-DEVIATIONS) == pytest.approx(low, abs=30)
        assert survey_mm(name, group, deviations=DEVIATIONS) == pytest.approx(high, abs=30)


def test_what_is_left_out_follows_what_is_given() -> None:
    whole, filled = filled_tape_mm({"Stature": 1824.8, "chest": 1058.7 + 87.4}, "men")
    assert whole["waist"] == pytest.approx(940.6 + 111.7)
    assert whole["waist height"] == pytest.approx(1056.5 * 1824.8 / 1756.2)
    assert "chest" not in filled
    assert {"waist", "hip", "neck", "upper arm", "crotch height"} <= set(filled)
    arms, _ = filled_tape_mm({"left upper arm": 300.0, "right upper arm": 310.0}, "men")
    assert arms["upper arm"] == 305.0


@pytest.mark.parametrize(
    ("group", "deviations"),
    [("women", -DEVIATIONS), ("men", 0.0), ("women", DEVIATIONS)],
)
def test_small_middling_and_large_lists_are_met(group: SurveyGroup, deviations: float) -> None:
    tape = {name: survey_mm(name, group, deviations=deviations) for name in NAMES}
    made = tape_stand_in(tape, group=group).body
    read = {measure.name: measure.length_mm for measure in tape_measures(made)}
    for name in ("chest", "waist", "hip", "neck", "neck height", "waist height"):
        assert read[name] == pytest.approx(tape[name], abs=1.0), name
    for side in ("left", "right"):
        assert read[f"{side} upper arm"] == pytest.approx(tape["upper arm"], abs=1.0)
    assert is_closed(made.mesh)
    assert euler_characteristic(made.mesh) == 2
    told = [f for f in made.findings if f.code == "body-not-measured"]
    assert [finding.severity for finding in told] == [Severity.WARNING]
    assert "shoulder breadth" in told[0].message
    assert (made.trust_mm > 10.0).all()


def test_three_numbers_are_enough_and_the_rest_is_named() -> None:
    """Left unmentioned, the neck lies within one standard deviation of the survey's mean."""
    made = tape_stand_in({"chest": 960.0, "waist": 830.0, "hip": 1000.0}, group="women").body
    read = {measure.name: measure.length_mm for measure in tape_measures(made)}
    assert read["chest"] == pytest.approx(960.0, abs=1.0)
    assert abs(read["neck"] - 329.8) < 19.2
    (told,) = [f for f in made.findings if f.code == "body-not-measured"]
    assert "neck" in told.message
    assert "chest" not in told.message
    assert np.abs(made.mesh.vertices[:, 0].min() + made.mesh.vertices[:, 0].max()) < 0.01
