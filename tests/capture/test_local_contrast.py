"""A weak print under a strong fall of light."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter

from fitkit.capture.local_contrast import local_contrast
from fitkit.geometry.arrays import Bytes, Floats

_SHAPE = (200, 300)


def _print(seed: int) -> Floats:
    """Return a print of 2 grey levels, in grains of 3 px."""
    grains = gaussian_filter(np.random.default_rng(seed).normal(size=_SHAPE), 1.5)
    return np.asarray(2.0 * grains / grains.std())


def _photo(pattern: Floats) -> Bytes:
    shade = np.linspace(60.0, 200.0, _SHAPE[1])
    return np.rint(shade + pattern).astype(np.uint8)


def _alike(one: Bytes, other: Bytes) -> float:
    inner = (slice(30, -30), slice(30, -30))
    return float(np.corrcoef(one[inner].ravel(), other[inner].ravel())[0, 1])


def test_print_counts_and_shading_does_not() -> None:
    same, other = (local_contrast(_photo(_print(seed)), radius_px=9.0) for seed in (1, 2))
    assert _alike(_photo(_print(1)), _photo(_print(2))) > 0.99  # as they come: all shading
    assert abs(_alike(same, other)) < 0.05
    kept = np.clip(np.rint(128.0 + 2.0 * _print(1)), 0, 255).astype(np.uint8)
    assert _alike(same, kept) > 0.95


def test_even_light_is_the_middle_and_a_strong_edge_is_cut_off() -> None:
    even = local_contrast(np.full(_SHAPE, 90, np.uint8), radius_px=5.0)
    assert np.all(even == 128)
    edge = np.full(_SHAPE, 20, np.uint8)
    edge[:, 150:] = 220
    found = local_contrast(edge, radius_px=5.0)
    assert (found[:, 149].max(), found[:, 150].min()) == (0, 255)
