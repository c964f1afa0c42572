from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from fitkit.capture.bundle_adjustment import (
    adjust,
    camera_scale_sigma,
    residuals_px,
    residuals_with_jacobian,
)
from fitkit.capture.photo_network import LensPriors, Network, Sightings
from tests.capture.sheet_scene import (
    PHONE,
    network_of,
    ring_of_cameras,
    seen_points,
    sheets_on_floor,
    sightings_of,
    similarity,
    wide_priors,
)


def a_scene(*, noise_px: float = 0.0, growth_px: float = 0.0) -> tuple[Network, Sightings]:
    cameras, sheets = ring_of_cameras(), sheets_on_floor()
    seen = seen_points(cameras, sheets, noise_px=noise_px)
    sightings = sightings_of(seen, sigma_px=max(noise_px, 0.01), growth_px=growth_px)
    return network_of(cameras, sheets), sightings


def disturbed(network: Network, *, seed: int = 2) -> Network:
    rng = np.random.default_rng(seed)
    turn_shift = np.array([0.03, 0.03, 0.03, 40, 40, 40])
    cameras = np.zeros((len(network.camera_rotations), 7))
    cameras[:, :6] = rng.normal(0, turn_shift, (len(cameras), 6))
    sheets = rng.normal(0, turn_shift, (len(network.sheet_rotations), 6))
    lens = np.array([[-30.0, 4.0, -6.0, -0.05, 0.06, 0.0, 0.0]])
    return network.moved(lens, cameras, sheets)


def test_slopes_agree_with_finite_differences() -> None:
    network, sightings = a_scene()
    network = replace(network, growths_px=np.linspace(-0.2, 0.2, len(network.growths_px)))
    _, slopes = residuals_with_jacobian(network, sightings)
    counts = (
        len(network.lenses),
        len(network.camera_rotations),
        len(network.sheet_rotations),
    )
    column = 0
    for block, size in enumerate((7, 7, 6)):
        for k in range(size):
            in_millimetres_or_pixels = k < 3 if block == 0 else k >= 3
            h = 1e-4 if in_millimetres_or_pixels else 1e-6

            def at(step: float, block: int = block, k: int = k) -> np.ndarray:
                steps = [np.zeros((n, m)) for n, m in zip(counts, (7, 7, 6), strict=True)]
                steps[block][:, k] = step
                return residuals_px(network.moved(*steps), sightings)

            numeric = (at(h) - at(-h)) / (2 * h)
            size_of_column = np.abs(slopes[:, column]).max()
            assert np.abs(numeric - slopes[:, column]).max() < 1e-5 * max(size_of_column, 1.0)
            column += 1
    assert column == slopes.shape[1]


def test_prediction_agrees_with_opencv() -> None:
    """cv2.projectPoints is the reference for pinhole, distortion and pose together."""
    network, sightings = a_scene()
    lens = PHONE
    saddles = sightings.where(sightings.grows == 0)
    for camera in range(3):
        rows = saddles.where(saddles.camera == camera)
        seen = []
        for sheet, point in zip(rows.sheet, rows.points_mm, strict=True):
            world = network.sheet_rotations[sheet] @ point + network.sheet_shifts_mm[sheet]
            turn, _ = cv2.Rodrigues(network.camera_rotations[camera])
            shift = network.camera_shifts_mm[camera]
            pixel, _ = cv2.projectPoints(world[None], turn, shift, lens.matrix(), lens.distortion())
            seen.append(pixel.ravel())
        here = replace(rows, pixels_px=np.array(seen))
        assert np.abs(residuals_px(network, here)).max() < 1e-8


def test_exact_sightings_give_the_exact_network() -> None:
    """From 40 mm and 2 degrees off, with a wrong lens, to rounding."""
    truth, sightings = a_scene()
    solved = adjust(disturbed(truth), sightings, wide_priors(truth), max_rounds=100)
    assert np.abs(residuals_px(solved, sightings)).max() < 1e-6
    scale, left = similarity(solved.centres_mm(), truth.centres_mm(), with_scale=False)
    assert left.max() < 1e-4
    assert scale == pytest.approx(1.0, abs=1e-8)
    assert solved.lenses[0] == pytest.approx(truth.lenses[0], abs=1e-4)


def test_grown_black_squares_change_neither_scale_nor_place() -> None:
    """Half a pixel of growth on tags of some 60 px would be 1.5 % of scale."""
    truth, sightings = a_scene(growth_px=0.5)
    solved = adjust(disturbed(truth), sightings, wide_priors(truth), max_rounds=100)
    assert solved.growths_px == pytest.approx(np.full(len(truth.growths_px), 0.5), abs=1e-6)
    _, left = similarity(solved.centres_mm(), truth.centres_mm(), with_scale=False)
    assert left.max() < 1e-4


def test_noise_of_a_tenth_of_a_pixel_stays_within_the_stated_deviation() -> None:
    truth, sightings = a_scene(noise_px=0.1)
    priors = LensPriors(
        truth.lenses + np.array([[20.0, 3, -3, 0, 0, 0, 0]]),
        np.array([[60.0, 15, 15, 0.15, 0.2, 0.003, 0.003]]),
    )
    solved = adjust(disturbed(truth), sightings, priors)
    scale, left = similarity(solved.centres_mm(), truth.centres_mm(), with_scale=False)
    assert np.sqrt((left**2).mean()) < 1.5  # mm, at 2 m with 768 px focal length
    sigma = camera_scale_sigma(solved, sightings, priors)
    assert 2e-5 < sigma < 5e-4
    assert abs(scale - 1) < 3 * sigma


def test_stated_scale_deviation_is_that_of_many_draws() -> None:
    """Monte Carlo of 40 draws: the spread itself is known to 11 % (1 / sqrt(2 n))."""
    cameras, sheets = ring_of_cameras(per_ring=4, rings=((1300.0, 2000.0),)), sheets_on_floor(5)
    truth = network_of(cameras, sheets)
    priors = LensPriors(truth.lenses, np.array([[0.0, 0, 0, 0, 0, 0, 0]]))
    scales, stated = [], []
    for seed in range(40):
        seen = seen_points(cameras, sheets, noise_px=0.1, seed=seed)
        # Corner rows share their point's noise, which the covariance cannot know: saddles only.
        sightings = sightings_of(seen, sigma_px=0.1)
        sightings = sightings.where(sightings.grows == 0)
        solved = adjust(truth, sightings, priors)
        scales.append(similarity(truth.centres_mm(), solved.centres_mm(), with_scale=True)[0])
        stated.append(camera_scale_sigma(truth, sightings, priors))
    assert np.std(scales) == pytest.approx(np.mean(stated), rel=0.35)


def test_gross_errors_hardly_pull() -> None:
    truth, sightings = a_scene(noise_px=0.1)
    wrong = np.random.default_rng(0).choice(len(sightings), len(sightings) // 50, replace=False)
    pixels = sightings.pixels_px.copy()
    pixels[wrong] += 8.0
    priors = wide_priors(truth)
    clean = adjust(truth, sightings, priors).centres_mm()
    spoilt = adjust(truth, replace(sightings, pixels_px=pixels), priors).centres_mm()
    assert similarity(spoilt, clean, with_scale=False)[1].max() < 1.0


def test_a_held_lens_value_stays() -> None:
    truth, sightings = a_scene(noise_px=0.1)
    sigmas = np.array([[60.0, 15, 15, 0.15, 0.0, 0.0, 0.0]])
    solved = adjust(truth, sightings, LensPriors(truth.lenses, sigmas))
    assert np.array_equal(solved.lenses[0, 4:], truth.lenses[0, 4:])
    assert solved.lenses[0, 0] != truth.lenses[0, 0]
