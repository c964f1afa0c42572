"""Blanks that meet along a line, measured against each other."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.seam_match import match_findings, seam_matches
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

BALL = solids.ellipsoid((90.0, 60.0, 110.0), 6.0)


def strip(low: float, high: float, left: float = -200.0) -> TriangleMesh:
    """Return the ball's front between two heights, right of a plane, along its own triangles."""
    middles = BALL.corners.mean(axis=1)
    level = (middles[:, 2] > low) & (middles[:, 2] <= high) & (middles[:, 0] > left)
    mesh, _ = BALL.faces_only(level & (middles[:, 1] < -15.0))
    return mesh


def named(low: float, high: float) -> object:
    def line(middle: Floats) -> str:
        near = min((abs(middle[2] - z), f"level {z:g}") for z in (low, high))
        return near[1] if near[0] < 6.0 else "side"

    return line


def blank(name: str, low: float, high: float, left: float = -200.0, **design: object) -> FlatPatch:
    mesh = strip(low, high, left)
    patch = solids.patch_of(mesh, name=name, lines=named(low, high), **design)  # type: ignore[arg-type]
    return flatten_patch(patch)


def test_shared_line_is_measured_on_form_and_both_blanks() -> None:
    upper = blank("upper", 0.0, 70.0, material="card")
    lower = blank("lower", -70.0, 0.0, left=-30.0, material="card")
    (match,) = seam_matches([upper, lower])
    assert (match.line, match.first, match.second) == ("level 0", "upper", "lower")
    edge = next(e for e in lower.outline if e.line == "level 0")
    # The lower plate is the narrower: but for its corners its whole edge is shared.
    length = edge.formed_arc_mm[-1]
    assert 0.85 * length < match.formed_mm <= length
    laid = np.linalg.norm(np.diff(edge.points_mm, axis=0), axis=1).sum()
    assert match.second_mm / match.formed_mm == pytest.approx(laid / length, abs=0.005)
    whole = next(e for e in upper.outline if e.line == "level 0").formed_arc_mm[-1]
    assert match.formed_mm < 0.9 * whole


def test_mismatch_is_told_and_goes_when_both_hold_the_line() -> None:
    free = [blank("upper", 0.0, 70.0), blank("lower", -20.0, 0.0)]
    (match,) = seam_matches(free)
    (finding,) = match_findings(free, [match])
    assert abs(match.mismatch_mm) > 1.0
    assert finding.number == match.mismatch_mm
    assert 'hold = ["level 0"]' in finding.remedy
    held = [
        blank("upper", 0.0, 70.0, hold=("level 0",)),
        blank("lower", -20.0, 0.0, hold=("level 0",)),
    ]
    (match,) = seam_matches(held)
    assert abs(match.mismatch_mm) < 0.002 * match.formed_mm
    assert match_findings(held, [match]) == ()


def test_plates_that_do_not_meet_have_no_seam() -> None:
    assert seam_matches([blank("a", 40.0, 90.0), blank("b", -90.0, -40.0)]) == ()
