"""A scan is held to lengths that a tape gave; every number is worked by hand or by the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fitkit.capture.check_length import CheckLength
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.scale_check import hold_to_checks
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.errors import InputError
from fitkit.findings import Finding, Severity
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import photo_of, ring_of_cameras, sheets_on_floor, similarity

UNMEASURED = Finding(
    "print-not-measured", Severity.WARNING, "marker sheets", "Not measured.", "Do."
)


def at(number: int, x_mm: float, paper: str = "A4") -> SolvedSheet:
    pose = RigidTransform(np.eye(3), np.array([x_mm, 0.0, 0.0]))
    return SolvedSheet(marker_sheet(paper, number).tag_id, pose)


def solved(*sheets: SolvedSheet, sigma: float = 0.01) -> SolvedCameras:
    return SolvedCameras((), sheets, 0.1, sigma, (UNMEASURED,))


def codes(result: SolvedCameras) -> list[str]:
    return [finding.code for finding in result.findings]


def test_a_check_that_agrees_settles_an_unmeasured_print() -> None:
    """2000 mm in the scan, 1992 mm by the tape, 0.4 % off: the tape is sixteen times surer.

    By hand: reading 1.5 mm, a class II tape (OIML R 35-1) 0.7 mm / sqrt 3 = 0.404 mm.
    """
    result = hold_to_checks(solved(at(1, 0.0), at(5, 2000.0)), [CheckLength("1", "5", 1992.0)])
    assert codes(result) == ["check-agrees"]
    assert result.findings[0].severity is Severity.NOTE
    tape = math.hypot(1.5, (0.3 + 0.2 * 1.992) / math.sqrt(3)) / 1992.0
    assert result.checks[0].sigma == pytest.approx(tape)
    assert result.checks[0].off == pytest.approx(2000 / 1992 - 1)
    part = 0.01**2 / (0.01**2 + tape**2)
    assert result.scale_sigma == pytest.approx(math.sqrt(part) * tape, rel=1e-6)
    assert result.scale_sigma < 0.0008
    now_mm = float(result.sheets[1].world_from_sheet.translation_mm[0])
    assert now_mm == pytest.approx(2000 * (1992 / 2000) ** part, abs=1e-6)
    assert abs(now_mm - 1992.0) < 0.1


def test_two_checks_are_surer_than_one() -> None:
    scene = solved(at(1, 0.0), at(5, 2000.0), at(3, 800.0))
    one = hold_to_checks(scene, [CheckLength("1", "5", 2000.0)])
    two = hold_to_checks(scene, [CheckLength("1", "5", 2000.0), CheckLength("5", "3", 1201.0)])
    assert two.scale_sigma < one.scale_sigma < 0.001
    assert len(two.checks) == 2


def test_a_check_that_differs_stops_and_says_what_to_measure() -> None:
    """0.6 % is beyond half a percent; nothing is scaled and no warning taken back."""
    scene = solved(at(1, 0.0), at(5, 2012.0), sigma=0.001)
    result = hold_to_checks(scene, [CheckLength("1", "5", 2000.0)])
    assert codes(result) == ["print-not-measured", "check-differs"]
    stop = result.findings[1]
    assert stop.severity is Severity.STOP
    assert (stop.number, stop.limit, stop.unit) == (0.6, 0.5, "%")
    assert "2012.0 mm" in stop.message
    assert "2000.0 mm" in stop.message
    assert "check lines" in stop.remedy
    assert "sheet 5" in stop.remedy
    assert result.scale_sigma == pytest.approx(0.006)
    assert result.sheets == scene.sheets


def test_one_of_two_checks_that_differs_stops() -> None:
    scene = solved(at(1, 0.0), at(5, 2000.0), at(3, 800.0))
    rows = [CheckLength("1", "5", 2000.0), CheckLength("3", "1", 780.0)]
    result = hold_to_checks(scene, rows)
    assert [one.agrees for one in result.checks] == [True, False]
    assert codes(result)[-1] == "check-differs"
    assert result.findings[-1].where == "check 3-1"


def test_a_short_check_vouches_for_nothing() -> None:
    """1.5 mm on 300 mm is half a percent by itself."""
    scene = solved(at(1, 0.0), at(2, 302.0))
    result = hold_to_checks(scene, [CheckLength("1", "2", 300.0)])
    assert codes(result) == ["print-not-measured", "check-too-short"]
    assert result.scale_sigma == 0.01
    far_off = hold_to_checks(solved(at(1, 0.0), at(2, 330.0)), [CheckLength("1", "2", 300.0)])
    assert codes(far_off)[-1] == "check-differs"


def test_a_sheet_that_is_not_in_the_photos_is_named() -> None:
    scene = solved(at(1, 0.0), at(2, 2000.0))
    result = hold_to_checks(scene, [CheckLength("1", "9", 1500.0)])
    assert codes(result) == ["print-not-measured", "check-not-seen"]
    assert "sheet 9" in result.findings[1].message
    assert result.checks == ()


def test_of_two_papers_the_one_meant_must_be_named() -> None:
    scene = solved(at(1, 0.0), at(1, 2000.0, "A3"), at(2, 3500.0))
    with pytest.raises(InputError, match="A4 number 1 and marker sheet A3 number 1"):
        hold_to_checks(scene, [CheckLength("1", "2", 1500.0)])
    result = hold_to_checks(scene, [CheckLength("A3 1", "2", 1500.0)])
    assert result.checks[0].solved_mm == pytest.approx(1500.0)


def test_without_checks_nothing_changes() -> None:
    scene = solved(at(1, 0.0))
    assert hold_to_checks(scene, ()) is scene


@pytest.mark.parametrize(("printed", "stops"), [(0.9965, False), (0.985, True)])
def test_a_print_that_came_out_small_is_put_right_or_stopped(printed: float, stops: bool) -> None:
    """Nobody measured the print; the tape lay between the true middles of sheets 1 and 5."""
    sheets, cameras = sheets_on_floor(), ring_of_cameras(per_ring=4)
    photos = [
        photo_of(camera, sheets, printed_scale=printed, seed=k) for k, camera in enumerate(cameras)
    ]
    laid_mm = float(np.linalg.norm(sheets[0][1].translation_mm - sheets[4][1].translation_mm))
    result = solve_cameras(photos, checks=[CheckLength("1", "5", laid_mm)])
    found = np.array([camera.centre_mm() for camera in result.cameras])
    true = np.array([camera.centre_mm() for camera in cameras])
    scale = similarity(true, found, with_scale=True)[0]
    if stops:
        assert [f.code for f in result.findings if f.severity is Severity.STOP] == ["check-differs"]
        assert scale == pytest.approx(1 / printed, abs=5e-4)
    else:
        assert codes(result) == ["check-agrees"]
        assert abs(scale - 1) < 4e-4
        assert abs(scale - 1) < 3 * result.scale_sigma
        assert result.scale_sigma < 0.0015
