from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from fitkit.capture.lens_groups import settle_lenses
from fitkit.capture.photo import Photo, find_photos, read_photo, read_photos
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.findings import Severity

FULL = (4032, 3024)


def photo(
    name: str,
    size: tuple[int, int] = FULL,
    *,
    camera: str = "Heron|Warden 1||5mm|27",
    taken: tuple[int, int] | None = None,
) -> Photo:
    return Photo(name, np.zeros((30, 40), np.uint8), 30.0, True, f"{size}", camera, size, taken)


def settled(*photos: Photo) -> tuple[list[str], list[str], list[tuple[str, str]]]:
    """Names left out, names with a lens not vouched for, and (code, where)."""
    kept, out, findings = settle_lenses(photos)
    assert [one.name for one in kept] == [one.name for one in photos]
    return (
        [photos[k].name for k in sorted(out)],
        [one.name for one in kept if not one.focal_known],
        [(f.code, f.where) for f in findings],
    )


def several(count: int, size: tuple[int, int] = FULL, prefix: str = "a", **how: object) -> list:
    return [photo(f"{prefix}{k}", size, **how) for k in range(count)]  # type: ignore[arg-type]


def test_photos_of_one_size_stay_as_they_are() -> None:
    assert settled(*several(5)) == ([], [], [])


def test_a_cropped_photo_is_left_out_by_name() -> None:
    out, _, findings = settled(*several(5), photo("cut", (3000, 2900)))
    assert out == ["cut"]
    assert findings == [("photo-cropped", "cut")]
    (finding,) = settle_lenses([*several(5), photo("cut", (3000, 2900))])[2]
    assert finding.severity is Severity.WARNING
    assert "3000 x 2900 px" in finding.message
    assert "4032 x 3024 px" in finding.message
    assert "as the camera stored it" in finding.remedy


def test_a_resized_photo_is_left_out_by_name() -> None:
    assert settled(*several(5), photo("small", (1600, 1200))) == (
        ["small"],
        [],
        [("photo-resized", "small")],
    )


def test_a_crop_that_the_file_betrays_is_seen_without_the_others() -> None:
    assert settled(photo("cut", (3000, 2900), taken=FULL)) == (
        ["cut"],
        [],
        [("photo-cropped", "cut")],
    )


def test_three_of_another_size_get_a_lens_of_their_own() -> None:
    wide = several(3, (4032, 2268), "w")
    assert settled(*several(5), *wide) == (
        [],
        ["w0", "w1", "w2"],
        [("photos-other-size", "w0")],
    )


def test_the_cameras_own_larger_mode_is_not_suspected() -> None:
    large = photo("large", (8064, 6048), taken=(8064, 6048))
    assert settled(*several(5, taken=FULL), large) == ([], [], [])


def test_another_camera_or_none_named_is_not_compared() -> None:
    other = photo("other", (3000, 2900), camera="Ibis|One||4mm|26")
    assert settled(*several(5), other, photo("nameless", (640, 480), camera="")) == ([], [], [])


def save(path: Path, grey: np.ndarray, taken: tuple[int, int]) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Heron Optics", "Warden 1"
    block = exif.get_ifd(ExifTags.IFD.Exif)
    block[ExifTags.Base.FocalLengthIn35mmFilm] = 27
    block[ExifTags.Base.ExifImageWidth], block[ExifTags.Base.ExifImageHeight] = taken
    Image.fromarray(grey).save(path, exif=exif, quality=95)


def test_the_file_tells_camera_and_sizes(tmp_path: Path) -> None:
    save(tmp_path / "a.jpg", np.full((300, 400), 90, np.uint8), (640, 480))
    found = read_photo(tmp_path / "a.jpg", longest_px=200)
    assert "Warden 1" in found.camera
    assert (found.stored_px, found.taken_px) == ((400, 300), (640, 480))


@pytest.mark.parametrize(("cropped", "used"), [(1, 6), (4, 10)])
def test_cropped_files_are_left_out_or_solved_with_their_own_lens(
    tmp_path: Path, floor_photos: tuple, cropped: int, used: int
) -> None:
    """Photos of another shape, cut to the same middle part: the focal length is 28 % longer."""
    photos = floor_photos[0]
    for k, one in enumerate(photos[: 6 + cropped]):
        grey = one.grey if k < 6 else one.grey[110:-110, :]
        save(tmp_path / f"{k}.jpg", grey, one.grey.shape[::-1])
    read, _ = read_photos(find_photos([tmp_path]))
    solved = solve_cameras(read, printed_mm=(180.0, 200.0))
    assert len(solved.cameras) == used
    codes = [f.code for f in solved.findings]
    if used == 6:
        assert codes == ["photo-cropped"]
        return
    assert codes == ["photos-other-size"]
    lenses = {camera.lens.height_px: camera.lens for camera in solved.cameras}
    assert lenses[788].focal_px == pytest.approx(lenses[1008].focal_px, rel=0.01)
