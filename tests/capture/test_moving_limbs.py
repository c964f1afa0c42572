"""An arm that moves against the trunk is found by its side and height, and nothing else is."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.body_features import FeatureTracks
from fitkit.capture.moving_limbs import limb_findings, moving_regions
from fitkit.geometry.arrays import Floats
from tests.capture.track_scene import PIXEL, ring, seen_from

POSES = ring(14)


def trunk() -> Floats:
    rng = np.random.default_rng(5)
    angle, height = rng.uniform(0, 2 * np.pi, 500), rng.uniform(800, 1450, 500)
    return np.column_stack([160 * np.cos(angle), 110 * np.sin(angle), height])


def arm(side: float) -> Floats:
    rng = np.random.default_rng(6)
    angle, height = rng.uniform(0, 2 * np.pi, 90), rng.uniform(1100, 1300, 90)
    return np.column_stack([side * 330 + 40 * np.cos(angle), 40 * np.sin(angle), height])


def tracks_of(points_mm: Floats, sway_mm: Floats, *, wrong: float = 0.0) -> FeatureTracks:
    """Sightings with (C, P, 3) mm of own movement and a share of wrong ones, at 0.2 px noise."""
    still = seen_from(POSES, points_mm, noise_px=0.2)
    local = POSES.seen(points_mm) + np.einsum("cij,cpj->cpi", POSES.rotations, sway_mm)
    rays = np.swapaxes(local[:, :, :2] / local[:, :, 2:], 0, 1).reshape(-1, 2)
    plain = POSES.seen(points_mm)
    rays += still.rays - np.swapaxes(plain[:, :, :2] / plain[:, :, 2:], 0, 1).reshape(-1, 2)
    rng = np.random.default_rng(8)
    off = rng.random(len(rays)) < wrong
    rays[off] += rng.normal(0.0, 12 * PIXEL, (int(off.sum()), 2))
    return FeatureTracks(still.camera, still.point, rays, still.sigma, still.points_n)


def swaying_arm(side: float, rms_mm: float) -> tuple[Floats, Floats]:
    points = np.vstack([trunk(), arm(side), arm(-side)])
    sway = np.zeros((14, len(points), 3))
    steps = np.random.default_rng(7).normal(0.0, rms_mm / np.sqrt(3.0), (14, 3))
    sway[:, 500:590] = steps[:, None, :]
    return points, sway


def test_a_body_in_one_piece_has_no_moving_limb_even_with_wrong_matches() -> None:
    points = np.vstack([trunk(), arm(1.0), arm(-1.0)])
    tracks = tracks_of(points, np.zeros((14, len(points), 3)), wrong=0.02)
    assert moving_regions(tracks, POSES) == ()


@pytest.mark.parametrize(("side", "name"), [(1.0, "left"), (-1.0, "right")])
def test_a_moving_arm_is_named_by_the_wearers_side_and_height(side: float, name: str) -> None:
    """The wearer faces -y, so the left arm is at +x. Two of three directions are seen."""
    points, sway = swaying_arm(side, 10.0)
    regions = moving_regions(tracks_of(points, sway, wrong=0.01), POSES)
    (finding,) = limb_findings(regions, 0.0, lowest_mm=900.0)
    assert finding.code == "limb-moved"
    assert finding.where.startswith(name)
    assert finding.number == pytest.approx(10.0 * np.sqrt(2.0 / 3.0), rel=0.25)
    assert regions[0].low_mm[2] == pytest.approx(1110.0, abs=15.0)
    assert regions[0].high_mm[2] == pytest.approx(1290.0, abs=15.0)
    assert "tape" in finding.remedy


def test_what_moved_below_the_body_is_a_stand_and_no_limb() -> None:
    points, sway = swaying_arm(1.0, 10.0)
    regions = moving_regions(tracks_of(points, sway, wrong=0.01), POSES)
    assert limb_findings(regions, 0.0, lowest_mm=1310.0) == ()
    assert len(limb_findings(regions, 0.0, lowest_mm=1250.0)) == 1


def test_a_handful_of_features_says_nothing() -> None:
    points, sway = swaying_arm(1.0, 10.0)
    tracks = tracks_of(points[490:510], sway[:, 490:510])
    assert moving_regions(tracks, POSES) == ()
