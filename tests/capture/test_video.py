from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import cv2
import numpy as np
import pytest

from fitkit.capture.photo import find_photos, read_photos
from fitkit.capture.video import read_video
from fitkit.capture.video_frames import choose_frames, frame_signs
from fitkit.errors import PhotoError

SIZE = (320, 240)


def scenery() -> np.ndarray:
    rng = np.random.default_rng(8)
    coarse = rng.uniform(0, 255, (80, 600))
    return np.clip(cv2.resize(coarse, (2400, 320), interpolation=cv2.INTER_CUBIC), 0, 255)


def walk(
    count: int = 60, *, step_px: int = 8, shaken: Collection[int] = (), rest: int = 0
) -> list[np.ndarray]:
    """Frames that pan over a scenery; some shaken; the last place held for a while."""
    wide, frames = scenery(), []
    for k in range(count + rest):
        left = step_px * min(k, count)
        frame = wide[40 : 40 + SIZE[1], left : left + SIZE[0]]
        if k in shaken:
            frame = cv2.blur(frame, (9, 1))
        frames.append(np.clip(frame, 0, 255).astype(np.uint8))
    return frames


def film(path: Path, frames: list[np.ndarray], fourcc: str = "MJPG") -> Path:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*fourcc), 30.0, SIZE)
    assert writer.isOpened()
    for frame in frames:
        writer.write(cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR))
    writer.release()
    return path


def numbers(photos: tuple) -> list[int]:
    return [int(photo.name.rsplit(" ", 1)[1]) for photo in photos]


@pytest.mark.parametrize(("name", "fourcc"), [("w.avi", "MJPG"), ("w.mp4", "mp4v"),
                                              ("w.MOV", "mp4v")])  # fmt: skip
def test_a_film_gives_sharp_frames_spread_over_the_walk(
    tmp_path: Path, name: str, fourcc: str
) -> None:
    """480 px of way on 320 px of picture by twentieths of it: 30 stretches of 4 frames."""
    shaken = {k for k in range(120) if k % 3 != 1}
    frames = walk(120, step_px=4, shaken=shaken)
    path = film(tmp_path / name, frames, fourcc)
    photos, findings = read_photos(find_photos([path]))
    assert findings == ()
    chosen = numbers(photos)
    assert 28 <= len(chosen) <= 31
    assert chosen == sorted(set(chosen))
    assert not shaken & set(chosen)
    assert chosen[0] <= 4
    assert chosen[-1] >= 113
    assert np.diff(chosen).max() <= 8
    assert all(photo.grey.shape == (240, 320) for photo in photos)
    assert len({photo.lens_key for photo in photos}) == 1
    assert not photos[0].focal_known
    # The number in the name is that of the film's frame.
    exact = frames[chosen[5]].astype(float)
    assert np.abs(photos[5].grey - exact).mean() < 6.0


def test_standing_still_gives_no_more_photos(tmp_path: Path) -> None:
    path = film(tmp_path / "w.avi", walk(30, rest=60))
    assert 14 <= len(read_video(path, "w.avi")) <= 17


def test_a_long_walk_gives_no_more_than_asked_for() -> None:
    moved = [0.05] * 4000
    chosen = choose_frames([1.0] * 4000, moved, most=60)
    assert len(chosen) == 60
    assert choose_frames([], [], most=60) == []
    assert choose_frames([1.0, 3.0, 2.0], [0.0, 0.0, 0.0], most=60) == [1]


def test_a_cut_is_no_movement() -> None:
    rng = np.random.default_rng(2)
    first, second = (rng.integers(0, 255, (240, 320)).astype(np.uint8) for _ in range(2))
    small = frame_signs(first, None)[2]
    assert frame_signs(np.roll(first, 16, axis=1), small)[1] == pytest.approx(0.05, abs=0.003)
    assert frame_signs(second, small)[1] < 0.25


@pytest.mark.parametrize("content", [b"", b"no film at all", bytes(4000)])
def test_what_is_no_film_is_named(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "walk.mp4"
    path.write_bytes(content)
    with pytest.raises(PhotoError, match=r"walk\.mp4") as caught:
        read_photos([path])
    assert "MP4" in caught.value.remedy


def test_a_film_cut_short_gives_what_it_holds_or_is_named(tmp_path: Path) -> None:
    content = film(tmp_path / "w.avi", walk(40)).read_bytes()
    rng = np.random.default_rng(5)
    for _ in range(12):
        path = tmp_path / "cut.avi"
        damaged = bytearray(content[: int(rng.integers(100, len(content)))])
        for place in rng.integers(0, len(damaged), 20):
            damaged[place] = int(rng.integers(0, 256))
        path.write_bytes(bytes(damaged))
        try:
            photos = read_video(path, "cut.avi")
        except PhotoError as error:
            assert "cut.avi" in error.cause  # noqa: PT017  either outcome is right
        else:
            assert 1 <= len(photos) <= 60
