"""A body from the tape list alone: the list is met, the rest is the survey's, and it says so."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.body.body_part import BODY_PARTS, BodyPart
from fitkit.body.stand_in_part import part_of_body
from fitkit.body.survey import (
    SurveyGroup,
    filled_tape_mm,
    survey_mm,
    survey_names,
    survey_spread_mm,
)
from fitkit.body.tape_measure import tape_measures
from fitkit.body.tape_stand_in import tape_stand_in
from fitkit.findings import Severity
from fitkit.geometry.topology import components, euler_characteristic, is_closed

# 5th and 95th percentile lie this many standard deviations off the mean of a normal spread.
DEVIATIONS = 1.645
FEW = ("stature", "chest", "waist", "hip")
# The survey's chest breadth is taken over the ribs, ours over all the tape goes round.
MEANT_OTHERWISE = {"chest breadth"}


@lru_cache(maxsize=6)
def whole(group: SurveyGroup, deviations: float) -> Body:
    tape = {name: survey_mm(name, group, deviations=deviations) for name in FEW}
    return tape_stand_in(tape, group=group, part="whole body", cell_mm=13.0)


def lengths(body: Body) -> dict[str, float]:
    return {measure.name: measure.length_mm for measure in tape_measures(body)}


def plain_name(name: str) -> str:
    return name.removeprefix("left ").removeprefix("right ")


@pytest.mark.parametrize(
    ("group", "deviations"),
    [
        ("women", -DEVIATIONS),
        pytest.param("women", 0.0, marks=pytest.mark.slow),
        pytest.param("women", DEVIATIONS, marks=pytest.mark.slow),
        pytest.param("men", -DEVIATIONS, marks=pytest.mark.slow),
        pytest.param("men", 0.0, marks=pytest.mark.slow),
        pytest.param("men", DEVIATIONS, marks=pytest.mark.slow),
    ],
)
def test_what_is_given_is_met_and_the_rest_lies_within_one_deviation(
    group: SurveyGroup, deviations: float
) -> None:
    """Stature and three girths of the 5th, 50th and 95th percentile of both groups.

    The rest is held to what people of those four measures have on average, the survey's regression.
    """
    tape = {name: survey_mm(name, group, deviations=deviations) for name in FEW}
    expected, _ = filled_tape_mm(tape, group)
    read = lengths(whole(group, deviations))
    for name in FEW:
        assert read[name] == pytest.approx(tape[name], abs=1.0), name
    compared = {plain_name(name) for name in read} & set(survey_names()) - MEANT_OTHERWISE
    assert len(compared) == 27 - len(MEANT_OTHERWISE), "every measure of ours that the survey has"
    for name, length in read.items():
        if plain_name(name) in compared:
            off = length - expected[plain_name(name)]
            assert abs(off) < survey_spread_mm(plain_name(name), group), name


def test_a_stand_in_is_one_closed_mirrored_surface_marked_as_not_measured() -> None:
    body = whole("women", -DEVIATIONS)
    assert is_closed(body.mesh)
    assert euler_characteristic(body.mesh) == 2
    low, high = body.mesh.bounds_mm()
    assert low[0] + high[0] == pytest.approx(0.0, abs=0.05)
    assert low[2] == pytest.approx(0.0, abs=0.5)
    told = [f for f in body.findings if f.code == "body-not-measured"]
    assert [finding.severity for finding in told] == [Severity.WARNING]
    assert "neck" in told[0].message
    assert "chest," not in told[0].message
    assert (body.trust_mm > 10.0).all()


@pytest.mark.parametrize(
    ("part", "measured"),
    [
        ("torso", {"chest", "waist", "hip", "neck", "neck base", "left upper arm", "back length"}),
        ("head", {"head", "stature"}),
        ("left arm", {"left upper arm", "left forearm", "left wrist", "left arm length"}),
        ("right leg", {"right thigh", "right knee", "right calf", "right ankle", "crotch height"}),
        ("left lower leg", {"left knee", "left calf", "left ankle", "left knee height"}),
    ],
)
def test_a_part_is_closed_and_keeps_its_measures_and_its_place(
    part: BodyPart, measured: set[str]
) -> None:
    body = whole("women", -DEVIATIONS)
    own = part_of_body(body, part)
    assert is_closed(own.mesh)
    assert components(own.mesh).max() == 0
    assert 0 < own.mesh.volume_mm3() < 0.9 * body.mesh.volume_mm3()
    before, after = lengths(body), lengths(own)
    assert measured <= after.keys()
    for name in measured:
        # The upper arm is the greatest of a free part that a torso's cut shortens.
        assert after[name] == pytest.approx(before[name], abs=2.0 if "upper" in name else 0.5), name
    trunk = own.axis("trunk")
    assert np.ptp(own.mesh.vertices[:, 2]) == pytest.approx(trunk.length_mm, abs=1e-6)


def test_every_part_can_be_taken() -> None:
    volumes = {
        p: part_of_body(whole("women", -DEVIATIONS), p).mesh.volume_mm3() for p in BODY_PARTS
    }
    for limb in ("arm", "leg", "lower leg"):
        assert volumes[f"left {limb}"] == pytest.approx(volumes[f"right {limb}"], rel=1e-3)
    assert volumes["left lower leg"] < volumes["left leg"] < volumes["torso"]


def test_unlike_sides_and_unknown_names_are_kept_apart_from_the_survey() -> None:
    tape = {"left calf": 370.0, "right calf": 350.0, "hat": 570.0}
    body = tape_stand_in(tape, group="women", part="whole body", cell_mm=16.0)
    read = lengths(body)
    assert read["left calf"] == pytest.approx(370.0, abs=1.0)
    assert read["right calf"] == pytest.approx(350.0, abs=1.0)
    assert "hat" in {f.where for f in body.findings if f.code == "adapt-not-on-body"}


def test_a_torso_meets_its_list_as_it_is_cut_and_says_nothing_of_legs() -> None:
    tape = {"chest": 960.0, "upper arm": 300.0, "calf": 380.0}
    body = tape_stand_in(tape, group="women", cell_mm=13.0)
    read = lengths(body)
    assert read["chest"] == pytest.approx(960.0, abs=1.0)
    for side in ("left", "right"):
        assert read[f"{side} upper arm"] == pytest.approx(300.0, abs=1.0)
    assert abs(read["neck"] - 329.8) < 19.2, "within one deviation of the survey's mean"
    assert {f.code for f in body.findings} == {"body-not-measured"}
    assert (body.trust_mm > 10.0).all()
