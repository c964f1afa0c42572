"""Folded and curled sheets are taken in pieces; the scale stays true whatever the paper does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.bent_sheets import posed_as_one
from fitkit.capture.camera import Camera
from fitkit.capture.marker_sheet import marker_sheet
from fitkit.capture.scan import SolvedCameras
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.capture.solve_views import solve_views
from fitkit.findings import Severity
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import (
    FULL_SIZE_PHONE,
    PHONE,
    curled,
    folded,
    photo_of,
    ring_of_cameras,
    sheets_on_floor,
    similarity,
)
from tests.capture.test_solve_views import CHECK_MM, exact_views, photos_of

# The least that a body is held to: a millimetre in a chest of a metre.
SCALE_LIMIT = 1e-3
CAMERAS = ring_of_cameras(PHONE, per_ring=3, rings=((800.0, 1100.0), (1200.0, 900.0)))


def scale_of(solved: SolvedCameras, cameras: Sequence[Camera]) -> float:
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    true = np.array([camera.centre_mm() for camera in cameras])
    return similarity(true, found, with_scale=True)[0]


def test_a_folded_and_a_curled_sheet_are_named_and_taken_in_pieces() -> None:
    """Rendered: sheet 3 folded by 9 degrees across its middle, sheet 6 curled by 8 mm.

    The fold lifts the upper saddles by 112 sin 9° = 17.5 mm; the slab with the least
    thickness that holds both halves is about half of that.
    """
    laid = sheets_on_floor(radius_mm=420.0)
    parts = [*laid[:2], *folded(*laid[2], np.radians(9.0)), *laid[3:5]]
    parts += [*curled(*laid[5], 8.0, strips=12), *laid[6:]]
    photos = [photo_of(camera, parts, seed=k, fine=2) for k, camera in enumerate(CAMERAS)]
    solved = solve_cameras(photos, printed_mm=(180.0, 200.0))
    assert len(solved.cameras) == len(CAMERAS)
    assert abs(scale_of(solved, CAMERAS) - 1.0) < SCALE_LIMIT
    bent = [finding for finding in solved.findings if finding.code == "sheet-bent"]
    assert [finding.where for finding in bent] == ["sheet 3", "sheet 6"]
    assert all(finding.severity is Severity.WARNING for finding in bent)
    assert bent[0].number == pytest.approx(112.0 * np.sin(np.radians(9.0)) / 2, rel=0.3)
    # Each bent sheet is still one sheet, and its middle is where it lies.
    assert [sheet.tag_id for sheet in solved.sheets] == list(range(8))
    middles = np.array([sheet.world_from_sheet.translation_mm for sheet in solved.sheets])
    apart = np.linalg.norm(middles[2] - middles[[0, 4, 7]], axis=1)
    true = np.array([pose.translation_mm for _, pose in laid])
    assert apart == pytest.approx(np.linalg.norm(true[2] - true[[0, 4, 7]], axis=1), abs=1.5)


def rolled(points_mm: np.ndarray, sag_mm: float = 7.0) -> np.ndarray:
    """Lay printed points on a cylinder along x; an A4 page's ends rise by ``sag_mm``."""
    radius = 148.5**2 / (2 * sag_mm)
    angle = points_mm[:, 1] / radius
    return np.column_stack([points_mm[:, 0], radius * np.sin(angle), radius * (1 - np.cos(angle))])


def test_sheets_that_all_curl_leave_the_scale_true() -> None:
    """Paper straight from a roll; with all taken as flat the scale is 0.3 % off and no word."""
    cameras, sheets = ring_of_cameras(FULL_SIZE_PHONE), sheets_on_floor()
    views = exact_views(cameras, sheets, shape=rolled)
    solved = solve_views(photos_of(cameras), views, printed_mm=CHECK_MM)
    assert [finding.code for finding in solved.findings] == ["sheet-bent"] * 8
    assert abs(scale_of(solved, cameras) - 1.0) < SCALE_LIMIT


def test_noise_is_not_taken_for_a_bend() -> None:
    cameras, sheets = ring_of_cameras(FULL_SIZE_PHONE), sheets_on_floor()
    views = exact_views(cameras, sheets, noise_px=0.5)
    solved = solve_views(photos_of(cameras), views, printed_mm=CHECK_MM)
    assert "sheet-bent" not in [finding.code for finding in solved.findings]


def test_one_pose_of_two_halves_is_between_them() -> None:
    sheet = marker_sheet("A4", 1)
    up, down = (
        RigidTransform(Rotation.from_euler("x", turn, degrees=True).as_matrix(), np.zeros(3))
        for turn in (6.0, -6.0)
    )
    saddles = sheet.saddles_mm()
    tag = sheet.tag_corners_mm()
    pose = posed_as_one(
        sheet, [up, down], [np.vstack([saddles[:2], tag[:2]]), np.vstack([saddles[2:], tag[2:]])]
    )
    assert np.degrees(np.arccos(pose.rotation[2, 2])) < 1e-6
    assert np.abs(pose.translation_mm).max() < 1e-9
