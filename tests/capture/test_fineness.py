"""How fine the photos see, and what follows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.capture.camera import Lens
from fitkit.capture.fineness import dense_scale, expected_error, pixel_on_subject_mm
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from tests.truth.camera_walk import camera_walk
from tests.truth.textured_egg import camera_at

VOLUME = CaptureVolume(0.0, 0.0, 500.0, 15.0, 1800.0)


def ring(distance_mm: float, focal_px: float, longest_px: int) -> SolvedCameras:
    lens = Lens(longest_px * 3 // 4, longest_px, focal_px, 0.0, 0.0)
    target = np.array([0.0, 0.0, 300.0])
    cameras = []
    for turn in np.linspace(0.0, 2 * np.pi, 9)[:-1]:
        centre = target + distance_mm * np.array([np.cos(turn), np.sin(turn), 0.0])
        cameras.append(camera_at(f"{turn:.2f}", centre, target, lens=lens))
    return SolvedCameras(tuple(cameras), (), 0.03, 0.0)


def test_a_pixel_is_as_long_as_distance_over_focal_length() -> None:
    assert pixel_on_subject_mm(ring(1200.0, 1500.0, 2016).cameras) == pytest.approx(0.8)


def test_a_body_photographed_whole_is_worked_at_the_usual_cells() -> None:
    assert dense_scale(camera_walk(), VOLUME) == 1.0


def test_a_small_subject_seen_from_near_is_worked_finer_but_not_below_a_fifth() -> None:
    """2016 px are looked at as 1008: a pixel is twice as long there."""
    near = ring(500.0, 1500.0, 2016)
    assert dense_scale(near.cameras, VOLUME) == pytest.approx(500 / 1500 * 2)
    assert dense_scale(ring(500.0, 375.0, 504).cameras, VOLUME) == 1.0
    small = replace(VOLUME, radius_mm=100.0)
    assert dense_scale(ring(500.0, 375.0, 504).cameras, small) == pytest.approx(0.5)
    assert dense_scale(ring(100.0, 3000.0, 4000).cameras, VOLUME) == 0.2


def test_the_scale_counts_in_a_girth_and_not_in_a_place() -> None:
    solved = ring(1200.0, 1500.0, 2016)
    true = expected_error(solved)
    loose = expected_error(replace(solved, scale_sigma=0.01))
    assert true.surface_mm == loose.surface_mm
    assert loose.girth_mm**2 - true.girth_mm**2 == pytest.approx(10.0**2)
