"""A film of a walk round the wearer as photos: sharp frames spread over the walk."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.photo_pixels import reduced_to
from fitkit.capture.video_frames import choose_frames, frame_signs
from fitkit.errors import PhotoError
from fitkit.geometry.arrays import Bytes, Floats

__all__ = ["read_video"]

_MOST_FRAMES = 60
# Ten minutes at 60 frames a second; a damaged file may go on for ever.
_LONGEST_FRAMES = 36_000
_SHORTEST_SIDE_PX = 200
# Films are cut from the middle of the sensor: a little longer than the photo's 26 mm
# equivalent (common practice, no source).
_FOCAL_PER_LONG_SIDE = 29.0 / 36.0


def read_video(
    path: Path,
    name: str,
    *,
    longest_px: int = 2016,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[Photo, ...]:
    """Return up to sixty frames of a film as photos, ``"walk.mp4 frame 120"``.

    The film is read twice, once to find the frames and once to fetch them, so that no more
    than those are ever held.

    Raises
    ------
    PhotoError
        When the film cannot be read or is too small.
    """
    sharpness: list[float] = []
    moved: list[float] = []
    small: Floats | None = None
    for number, frame in enumerate(_frames(path)):
        if min(frame.shape) < _SHORTEST_SIDE_PX:
            raise PhotoError(
                f"The film {path.name} is only {frame.shape[1]} x {frame.shape[0]} pixels.",
                "Film at the camera's full size, or take photos.",
            )
        sharp, shift, small = frame_signs(frame, small)
        sharpness.append(sharp)
        moved.append(shift)
        if progress is not None and number % 30 == 0:
            progress(0.0, f"looking through {name}, frame {number}")
    if not sharpness:
        raise PhotoError(
            f"The film {path.name} is damaged, or of a kind that cannot be read.",
            "Copy it from the camera again, or save it as MP4 (H.264).",
        )
    wanted = set(choose_frames(sharpness, moved, most=_MOST_FRAMES))
    photos = []
    for number, frame in enumerate(_frames(path)):
        if number in wanted:
            grey = reduced_to(frame, longest_px)
            long_px = max(grey.shape)
            photos.append(
                Photo(
                    f"{name} frame {number}",
                    grey,
                    _FOCAL_PER_LONG_SIDE * long_px,
                    False,
                    f"film|{name}|{grey.shape[1]}x{grey.shape[0]}",
                    stored_px=(max(frame.shape), min(frame.shape)),
                )
            )
        if number >= max(wanted):
            break
    return tuple(photos)


def _frames(path: Path) -> Iterator[Bytes]:
    """Yield the film's frames in grey, turned upright as the film says."""
    # The decoder would write its own remarks about damaged films between ours.
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    film = cv2.VideoCapture(str(path))
    try:
        for _ in range(_LONGEST_FRAMES):
            more, picture = film.read()
            if not more or picture is None:
                return
            grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) if picture.ndim == 3 else picture
            yield np.asarray(grey, dtype=np.uint8)
    except cv2.error as error:
        raise PhotoError(
            f"The film {path.name} is damaged.", "Copy it from the camera again."
        ) from error
    finally:
        film.release()
