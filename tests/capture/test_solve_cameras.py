from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.photo import Photo, find_photos, read_photos
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.errors import PhotoError
from tests.capture.sheet_scene import photo_of, similarity
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


def test_portrait_and_landscape_files_of_one_phone_are_solved_together(
    floor_photos: tuple, tmp_path: Path
) -> None:
    """Held upright the phone stores its picture lying and notes the turn; one photo lies."""
    photos, cameras, sheets = floor_photos
    lens = cameras[2].lens
    lying_lens = Lens(
        lens.height_px,
        lens.width_px,
        lens.focal_px,
        lens.centre_y_px,
        lens.width_px - 1 - lens.centre_x_px,
        k1=lens.k1,
        k2=lens.k2,
        p1=-lens.p2,
        p2=lens.p1,
    )
    lying = Camera(cameras[2].photo, lying_lens, cameras[2].camera_from_world)
    for k, photo in enumerate(photos):
        grey = photo_of(lying, sheets, seed=40, fine=2).grey if k == 2 else photo.grey
        exif = Image.Exif()
        exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Heron", "Warden 1"
        exif[ExifTags.Base.Orientation] = 1 if k == 2 else 6
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 27
        stored = grey if k == 2 else np.rot90(grey)
        Image.fromarray(np.ascontiguousarray(stored)).save(
            tmp_path / photo.name, exif=exif, quality=95
        )
    read, findings = read_photos(find_photos([tmp_path]))
    assert not findings
    assert [photo.width_px > photo.height_px for photo in read] == [k == 2 for k in range(10)]
    solved = solve_cameras(read)
    assert len(solved.cameras) == 10
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    true = np.array([camera.centre_mm() for camera in cameras])
    scale, _ = similarity(true, found, with_scale=True)
    assert abs(scale - 1) < 2.0 * SCALE_LIMIT
    off = similarity(found, true, with_scale=False)[1]
    # A lens of its own would put the lying photo off by a centimetre.
    assert np.abs(off).max() < 2.5
    assert solved.cameras[2].lens.width_px > solved.cameras[2].lens.height_px
    # What the upright cameras see is what the files show.
    placed = {one.tag_id: one.world_from_sheet for one in solved.sheets}
    true_cameras = [lying if k == 2 else camera for k, camera in enumerate(cameras)]
    for camera, true_camera in zip(solved.cameras, true_cameras, strict=True):
        for sheet, pose in sheets:
            corners = sheet.tag_corners_mm()
            seen = camera.project(placed[sheet.tag_id].apply(corners))
            assert np.abs(seen - true_camera.project(pose.apply(corners))).max() < 1.0


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
