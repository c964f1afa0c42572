"""Stored greys as light, against the standard's own numbers."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.tone_curve import light_of_grey, light_of_levels


def test_light_follows_the_srgb_curve() -> None:
    """IEC 61966-2-1: stored 0.5 is 0.2140 of full light; ends and the straight foot."""
    light = light_of_grey(np.array([[0, 10, 255]], np.uint8))[0]
    assert light[0] == 0.0
    assert light[1] == pytest.approx(10 / 255 / 12.92, rel=1e-6)
    assert light[2] == pytest.approx(1.0)
    half = np.interp(127.5, [127, 128], light_of_grey(np.array([[127, 128]], np.uint8))[0])
    assert half == pytest.approx(0.2140, abs=2e-4)


def test_levels_between_greys_are_light_between_theirs() -> None:
    greys = np.array([[0, 64, 128, 255]], np.uint8)
    np.testing.assert_allclose(light_of_levels(greys), light_of_grey(greys), rtol=1e-6)
    # IEC 61966-2-1: stored 0.5 is 0.2140 of full light.
    assert light_of_levels(np.array(127.5)) == pytest.approx(0.2140, abs=2e-4)
