"""What a photo stores turned back into the light that fell on its pixels."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from fitkit.geometry.arrays import Bytes, Floats

__all__ = ["LightImage", "light_of_grey", "light_of_levels"]

LightImage = npt.NDArray[np.float32]
"""(H, W) float32, 0 to 1, proportional to the light that fell on the pixel."""

_LEVELS = np.arange(256) / 255.0
_LIGHT = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4)


def light_of_grey(grey: Bytes) -> LightImage:
    """Return stored greys as light, by the tone curve of IEC 61966-2-1 (sRGB).

    Cameras bend their curve further to taste.
    """
    return np.asarray(cv2.LUT(grey, _LIGHT.astype(np.float32)), dtype=np.float32)


def light_of_levels(levels: Floats) -> Floats:
    """Return levels between 0 and 255, in any shape, as light, 0 to 1, by the same curve."""
    light: Floats = np.interp(levels, np.arange(256), _LIGHT)
    return light
