"""A room that keeps its place in the photos while the subject turns before a still camera.

Seen from the turning subject such a room turns about the same axis as the cameras, so its
pictures near the axis agree from all sides as if something stood there. What stays in
its place is therefore drawn over with noise, a different one in each photo, in which nothing
can be found again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Bytes

__all__ = ["without_still_room"]

_SMALL_PX = 336
_FEWEST_PHOTOS = 6
# The room shows in at least this part of the photos where anything is to be said of it; grey
# levels within which a photo shows it, noise and the shadow of the subject allowed for.
_SHOWS_IN, _ALIKE_GREY = 0.4, 6.0
# A pixel's slope says something when it is this steep, in grey levels; of those that do, this
# part stays in its place before a still camera, and hardly any before one that is carried.
_STEEP_GREY, _STILL_PART = 4.0, 0.25
_SPOT = 0.003
# Fainter than the pattern on a body, so that features are found on the body first.
_NOISE_GREY = 6.0
_SEED = 7


def without_still_room(photos: Sequence[Photo]) -> tuple[tuple[Photo, ...], tuple[Finding, ...]]:
    """Return the photos with the room drawn over, if the camera stood still; else as they are.

    Photos of each lens and size are looked at by themselves.
    """
    settled, still_n = list(photos), 0
    groups: dict[tuple[str, tuple[int, ...]], list[int]] = {}
    for index, photo in enumerate(photos):
        groups.setdefault((photo.lens_key, photo.grey.shape), []).append(index)
    for indices in groups.values():
        if len(indices) < _FEWEST_PHOTOS:
            continue
        shows = _room_in([photos[k].grey for k in indices])
        if shows is None:
            continue
        still_n += len(indices)
        for k, mask in zip(indices, shows, strict=True):
            settled[k] = replace(photos[k], grey=_drawn_over(photos[k].grey, mask, seed=k))
    if not still_n:
        return tuple(photos), ()
    return tuple(settled), (
        Finding(
            "camera-stood-still",
            Severity.NOTE,
            "photos",
            f"The camera stood still in {still_n} photos while the subject turned; what kept its "
            "place in them is the room and was left aside.",
        ),
    )


def _room_in(greys: Sequence[Bytes]) -> list[Bools] | None:
    """Return for each photo, reduced, where it shows the still room; None if none is still."""
    height, width = greys[0].shape
    factor = min(1.0, _SMALL_PX / max(height, width))
    size = (max(round(width * factor), 8), max(round(height * factor), 8))
    small = np.stack(
        [cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32) for grey in greys]
    )
    room = np.median(small, axis=0)
    alike = np.abs(small - room) < _ALIKE_GREY
    shown = alike.mean(axis=0) >= _SHOWS_IN
    down, right = np.gradient(room)
    steep = np.hypot(down, right) > _STEEP_GREY
    steep_once = np.hypot(*np.gradient(small[0])) > _STEEP_GREY
    if (steep & shown).sum() < _STILL_PART * max(int(steep_once.sum()), 1):
        return None
    return [_large_parts(one & shown) for one in alike]


def _large_parts(mask: Bools) -> Bools:
    """Drop what is small: spots of the subject are like the room now and then."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, label, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    large = stats[:, cv2.CC_STAT_AREA] > _SPOT * mask.size
    large[0] = False
    return np.asarray(large[label], dtype=np.bool_)


def _drawn_over(grey: Bytes, mask: Bools, *, seed: int) -> Bytes:
    height, width = grey.shape
    over = cv2.resize(mask.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
    noise = np.random.default_rng([_SEED, seed]).normal(0.0, 1.0, grey.shape)
    soft = np.asarray(cv2.GaussianBlur(noise, (0, 0), 1.0), dtype=np.float64)
    soft = soft * (_NOISE_GREY / max(float(soft.std()), 1e-6))
    drawn: Bytes = np.where(over > 0, np.clip(128.0 + soft, 0.0, 255.0), grey).astype(np.uint8)
    return drawn
