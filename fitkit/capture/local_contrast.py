"""Photos without their shading: what differs from the brightness round about.

Light falls off gently over a body, alike in all photos, so that patches of a plain surface look
alike wherever it is moved. What is left without the gentle part is pattern and noise.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.arrays import Bytes

__all__ = ["local_contrast"]

# Half grey levels: differences of up to 64 levels are kept.
_GAIN, _MIDDLE = 2.0, 128.0


def local_contrast(grey: Bytes, *, radius_px: float) -> Bytes:
    """Return (h, w) uint8: 128 and twice the difference from the mean round each pixel.

    Parameters
    ----------
    grey
        (h, w) uint8.
    radius_px
        Deviation of the bell that weighs the mean.
    """
    light: NDArray[np.float32] = grey.astype(np.float32)
    level = np.rint(_MIDDLE + _GAIN * (light - cv2.GaussianBlur(light, (0, 0), radius_px)))
    return np.asarray(np.clip(level, 0.0, 255.0), dtype=np.uint8)
