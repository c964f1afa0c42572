from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body import Body, Landmark
from fitkit.body.corrected_landmarks import with_corrections
from fitkit.findings import Severity
from tests.truth import solids

BALL = solids.sphere(100, 10)
BODY = Body(
    BALL,
    np.zeros(len(BALL.vertices)),
    landmarks={"top": Landmark("top", np.array([0, 0, 100.0]), 0.4)},
)


def test_a_correction_is_laid_on_the_surface_and_is_certain() -> None:
    body = with_corrections(BODY, {"top": np.array([30.0, 0, 96])})
    mark = body.landmark("top")
    assert np.linalg.norm(mark.at_mm) == pytest.approx(100, abs=0.6)
    assert mark.at_mm[0] == pytest.approx(30, abs=0.5)
    assert mark.confidence == 1
    (finding,) = body.findings
    assert finding.severity is Severity.NOTE
    assert "30 mm from where geometry puts it" in finding.message


def test_a_name_of_the_makers_own_becomes_a_landmark() -> None:
    body = with_corrections(BODY, {"scar": np.array([100.0, 0, 0])})
    assert body.landmark("scar").at_mm == pytest.approx([100, 0, 0], abs=0.6)
    assert body.landmark("top") is BODY.landmark("top")


def test_a_correction_that_no_longer_fits_the_body_is_a_warning() -> None:
    """As after a scan of another wearer."""
    body = with_corrections(BODY, {"top": np.array([0.0, 0, 160])})
    (finding,) = body.findings
    assert finding.severity is Severity.WARNING
    assert finding.number == pytest.approx(60, abs=1)
    assert finding.remedy


def test_nothing_to_correct_leaves_the_body_alone() -> None:
    assert with_corrections(BODY, {}) is BODY
