"""From a picture file's pixels to the grey and the small coloured picture the room works on."""

from __future__ import annotations

import cv2
import numpy as np
from PIL import Image

from fitkit.geometry.arrays import Bytes

__all__ = ["colour_of_picture", "draft_reduced", "grey_of_picture", "reduced_to", "turned_upright"]

_COLOUR_PX = 1008


def reduced_to(grey: Bytes, longest_px: int) -> Bytes:
    """Return a picture, grey or coloured, reduced to a long side of at most ``longest_px``."""
    height_px, width_px = grey.shape[:2]
    target = _bounded_size(width_px, height_px, longest_px)
    if target == (width_px, height_px):
        return grey
    return np.asarray(cv2.resize(grey, target, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def draft_reduced(picture: Image.Image, longest_px: int) -> None:
    """Let a JPEG be decoded as it is stored, lightness apart, and no finer than needed.

    Twice as fine as wanted leaves the reduction to average; only a scale that divides both
    sides keeps the pixels square.
    """
    width, height = picture.size
    scale = next(
        (
            n
            for n in (8, 4, 2)
            if width % n == 0 and height % n == 0 and max(width, height) >= 2 * n * longest_px
        ),
        1,
    )
    picture.draft("YCbCr", (width // scale, height // scale))


def turned_upright(grey: Bytes, orientation: int) -> Bytes:
    """Return a picture turned as its EXIF orientation asks."""
    match orientation:
        case 2:
            turned = grey[:, ::-1]
        case 3:
            turned = grey[::-1, ::-1]
        case 4:
            turned = grey[::-1]
        case 5:
            turned = grey.swapaxes(0, 1)
        case 6:
            turned = grey[::-1].swapaxes(0, 1)
        case 7:
            turned = grey[::-1, ::-1].swapaxes(0, 1)
        case 8:
            turned = grey.swapaxes(0, 1)[::-1]
        case _:
            turned = grey
    return np.ascontiguousarray(turned)


def grey_of_picture(picture: Image.Image) -> Bytes:
    """Return (H, W) uint8; deep pictures are brought to 8 bits instead of being clipped."""
    if picture.mode.startswith("I;16") or picture.mode == "I":
        deep = np.asarray(picture, dtype=np.float64)
        return np.asarray(np.clip(np.round(deep / 257.0), 0, 255), dtype=np.uint8)
    if picture.mode == "F":
        deep = np.asarray(picture, dtype=np.float64)
        low, high = float(deep.min()), float(deep.max())
        return np.asarray(np.round((deep - low) * 255.0 / max(high - low, 1e-9)), dtype=np.uint8)
    return np.array(picture.convert("L"), dtype=np.uint8)


def colour_of_picture(picture: Image.Image) -> Bytes | None:
    """Return (h, w, 3) uint8 RGB of at most 1008 px; None of a picture without colours."""
    if picture.mode in ("1", "L", "LA", "F", "I") or picture.mode.startswith("I;16"):
        return None
    stored = picture if picture.mode in ("RGB", "YCbCr") else picture.convert("RGB")
    small = reduced_to(np.asarray(stored, dtype=np.uint8), _COLOUR_PX)
    size = (small.shape[1], small.shape[0])
    picture = Image.frombytes(stored.mode, size, small.tobytes())
    return np.array(picture.convert("RGB"), dtype=np.uint8)


def _bounded_size(width_px: int, height_px: int, longest_px: int) -> tuple[int, int]:
    """Return the size to reduce to: at most ``longest_px``, and the pixels stay square.

    Rounding the short side freely could squeeze one direction by half a pixel in a
    thousand, which the square-pixel lens would turn into a scale error of the body; among
    the sizes just below the bound the one with the least squeeze is taken.
    """
    long_px, short_px = max(width_px, height_px), min(width_px, height_px)
    if long_px <= longest_px:
        return width_px, height_px

    def squeeze(new_long: int) -> float:
        exact = short_px * new_long / long_px
        return round(abs(exact / max(round(exact), 1) - 1.0), 6)

    new_long = min(range(longest_px, max(longest_px - 16, 1), -1), key=squeeze)
    new_short = max(round(short_px * new_long / long_px), 1)
    return (new_long, new_short) if width_px >= height_px else (new_short, new_long)
