from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.capture.photo import Photo, find_photos, read_photos
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.errors import PhotoError
from tests.capture.sheet_scene import similarity
from tests.truth.heron_warden import PHOTOS, heron_warden_truth

# Half a millimetre in a chest of a metre: far below what a plate can show.
SCALE_LIMIT = 5e-4


def test_traced_photos_give_cameras_to_a_millimetre_and_true_scale(floor_photos: tuple) -> None:
    """Tone curve unlike the assumed one, ink spread 0.15 mm, exposure and blur varying."""
    photos, cameras, _ = floor_photos
    heard: list[float] = []
    solved = solve_cameras(
        photos, printed_mm=(180.0, 200.0), progress=lambda part, _: heard.append(part)
    )
    assert [camera.photo for camera in solved.cameras] == [camera.photo for camera in cameras]
    assert len(solved.sheets) == 8
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    true = np.array([camera.centre_mm() for camera in cameras])
    scale, _ = similarity(true, found, with_scale=True)
    assert abs(scale - 1) < SCALE_LIMIT
    left = similarity(found, true, with_scale=False)[1]
    assert np.sqrt((left**2).mean()) < 1.0
    assert solved.reprojection_rms_px < 0.06
    # The world is the true one but for where below the looks the origin came to lie.
    shift = found - true
    assert np.abs(shift - shift.mean(axis=0)).max() < 5.0
    assert abs(shift[:, 2].mean()) < 2.0
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_photos_without_sheets_are_left_out_with_the_reason(floor_photos: tuple) -> None:
    photos, _, _ = floor_photos
    size = photos[0].grey.shape
    rng = np.random.default_rng(0)

    def plain(name: str, grey: np.ndarray) -> Photo:
        return Photo(name, grey.astype(np.uint8), 768.0, True, photos[0].lens_key)

    clutter = np.kron(rng.integers(40, 220, (size[0] // 4, size[1] // 4)), np.ones((4, 4)))
    others = [
        plain("wall.jpg", clutter),
        plain("window.jpg", np.full(size, 254)),
        plain("cellar.jpg", rng.integers(0, 25, size)),
    ]
    solved = solve_cameras([*photos[:5], *others], printed_mm=(180.0, 200.0))
    assert len(solved.cameras) == 5
    assert {(f.code, f.where) for f in solved.findings} == {
        ("photo-no-sheet", "wall.jpg"),
        ("photo-overexposed", "window.jpg"),
        ("photo-dark", "cellar.jpg"),
    }


def test_photos_without_any_sheet_are_an_error() -> None:
    empty = [
        Photo(f"{k}.jpg", np.full((400, 300), 120, np.uint8), 300.0, True, "k") for k in range(4)
    ]
    with pytest.raises(PhotoError, match="None of the 4 photos shows a marker sheet") as caught:
        solve_cameras(empty)
    assert "Print marker sheets" in caught.value.remedy


def test_no_photos_are_an_error() -> None:
    with pytest.raises(PhotoError, match="0 photos"):
        solve_cameras([])


@pytest.mark.slow
def test_the_sample_scan_is_solved_whole() -> None:
    """The rendered workshop: shading, clutter, JPEG; the recipe knows the true cameras."""
    files = find_photos([Path(PHOTOS)])
    photos, findings = read_photos(files)
    assert findings == ()
    solved = solve_cameras(photos, printed_mm=(180.0, 200.0))
    assert len(solved.cameras) == len(photos) == len(files)
    truth = {camera.photo: camera for camera in heron_warden_truth()[1]}
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    true = np.array([truth[camera.photo].centre_mm() for camera in solved.cameras])
    scale, _ = similarity(true, found, with_scale=True)
    assert abs(scale - 1) < SCALE_LIMIT
    left = similarity(found, true, with_scale=False)[1]
    assert np.sqrt((left**2).mean()) < 1.0
    assert solved.findings == ()
