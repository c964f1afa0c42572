"""A weak print under a strong fall of light."""

from __future__ import annotations

import numpy as np
import pytest
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


def test_even_light_is_the_middle_and_reducing_keeps_the_print() -> None:
    even = local_contrast(np.full(_SHAPE, 90, np.uint8), radius_px=5.0)
    assert np.all(even == 128)
    halved = local_contrast(_photo(_print(3)), radius_px=12.0, factor=0.5)
    assert halved.shape == (100, 150)
    whole = local_contrast(_photo(_print(3)), radius_px=12.0)
    mean = whole.reshape(100, 2, 150, 2).mean(axis=(1, 3))
    assert _alike(halved, mean.astype(np.uint8)) > 0.97
    assert float(halved.mean()) == pytest.approx(128.0, abs=1.0)
