"""What a tape round the body says of the scan: agrees, differs, or cannot be held."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body_check import body_check_findings
from fitkit.body.tape_reading import TapeMeasure
from fitkit.capture.check_length import BodyCheck
from fitkit.findings import Finding, Severity


def girth(name: str, length_mm: float) -> TapeMeasure:
    return TapeMeasure(name, "girth", length_mm, None, np.zeros((2, 3)), "level, 1220 mm")


CHEST = girth("chest", 1000.0)
ARMS = (girth("left upper arm", 300.0), girth("right upper arm", 302.0))


def one(*checks: BodyCheck, tape: dict[str, float] | None = None) -> Finding:
    (finding,) = body_check_findings((CHEST, *ARMS), checks, tape or {})
    return finding


@pytest.mark.parametrize(("tape_mm", "agrees"), [(1000.0, True), (991.0, True), (990.0, False)])
def test_half_a_percent_and_what_a_tape_repeats_to_is_allowed(tape_mm: float, agrees: bool) -> None:
    """A large girth: 0.5 % and 4.5 mm, half the 9 mm of ISO 20685-1:2018."""
    finding = one(BodyCheck("chest", tape_mm))
    assert finding.severity is (Severity.NOTE if agrees else Severity.STOP)
    assert finding.code == ("body-check-agrees" if agrees else "body-check-differs")
    assert finding.number == pytest.approx(100 * (1000.0 / tape_mm - 1.0), abs=1e-3)
    assert finding.limit == pytest.approx(0.5 + 450.0 / tape_mm, abs=1e-3)
    assert ("steel rule" in finding.remedy) is not agrees


def test_a_check_without_a_length_takes_that_of_the_tape_list() -> None:
    assert one(BodyCheck("chest", None), tape={"Chest": 1001.0}).code == "body-check-agrees"
    lost = one(BodyCheck("chest", None), tape={"waist": 800.0})
    assert lost.code == "body-check-no-length"
    assert "waist" in lost.message


def test_a_measure_without_a_side_goes_for_both() -> None:
    findings = body_check_findings((CHEST, *ARMS), [BodyCheck("upper arm", 300.0)], {})
    assert [finding.where for finding in findings] == [
        "check left upper arm",
        "check right upper arm",
    ]
    assert [finding.code for finding in findings] == ["body-check-agrees", "body-check-agrees"]
    assert one(BodyCheck("left upper arm", 320.0)).severity is Severity.STOP


def test_a_measure_the_body_does_not_have_is_told_with_those_it_has() -> None:
    finding = one(BodyCheck("thigh", 600.0))
    assert finding.code == "body-check-not-found"
    assert "chest" in finding.remedy
