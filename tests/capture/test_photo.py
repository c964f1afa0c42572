from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from fitkit.capture.photo import Photo, find_photos, read_photo, read_photos
from fitkit.errors import PhotoError, ShapeError
from fitkit.findings import Severity

REPOSITORY = Path(__file__).resolve().parents[2]
SHARED_DATA = Path(os.environ.get("FITKIT_SHARED_DATA", REPOSITORY.parent / "shared" / "data"))

# How the upright picture lies in the file for each value of the EXIF orientation tag
# (CIPA DC-008 Exif, tag 0x0112: where row 0 and column 0 of the file belong on the scene).
STORED_FROM_UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],  # row 0 top, column 0 right
    3: lambda a: a[::-1, ::-1],  # bottom, right
    4: lambda a: a[::-1],  # bottom, left
    5: lambda a: a.T,  # left, top
    6: lambda a: a[:, ::-1].T,  # right, top
    7: lambda a: a[::-1, ::-1].T,  # right, bottom
    8: lambda a: a[::-1].T,  # left, bottom
}


def a_scene(height: int = 300, width: int = 400) -> np.ndarray:
    """No two of its eight turned and mirrored versions look alike."""
    rows, columns = np.mgrid[0:height, 0:width]
    scene = 60 + 0.25 * columns + 0.1 * rows
    scene[: height // 4, : width // 3] = 230
    scene[-height // 5 :, : width // 6] = 10
    return scene.astype(np.uint8)


def save(path: Path, array: np.ndarray, *, orientation: int | None = None, **lens: object) -> Path:
    exif = Image.Exif()
    if orientation is not None:
        exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "Heron Optics"
    exif[ExifTags.Base.Model] = "Warden 1"
    block = exif.get_ifd(ExifTags.IFD.Exif)
    for name, value in lens.items():
        block[ExifTags.Base[name]] = value
    kwargs = {"quality": 95} if path.suffix == ".jpg" else {}
    Image.fromarray(np.ascontiguousarray(array)).save(path, exif=exif, **kwargs)
    return path


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".png", ".jpg"])
def test_every_exif_orientation_is_turned_upright(
    tmp_path: Path, orientation: int, suffix: str
) -> None:
    """The meaning of each value is that of CIPA DC-008, tag 0x0112."""
    scene = a_scene()
    stored = STORED_FROM_UPRIGHT[orientation](scene)
    photo = read_photo(save(tmp_path / f"a{suffix}", stored, orientation=orientation))
    assert photo.grey.shape == scene.shape
    assert np.abs(photo.grey.astype(int) - scene).mean() < 1.0


def test_the_open_orientation_examples_all_look_alike() -> None:
    """Eight files of one picture, github.com/recurser/exif-orientation-examples (MIT)."""
    folder = SHARED_DATA / "exif-orientation"
    if not folder.is_dir():
        pytest.skip("the open example photos are not on this machine")
    photos, findings = read_photos(find_photos([folder]))
    assert len(photos) + sum(f.code == "photo-repeated" for f in findings) == 8
    # Each file was compressed by itself, so single pixels differ; means of 20 x 20 do not.
    coarse = [photo.grey.reshape(60, 20, 90, 20).mean(axis=(1, 3)) for photo in photos]
    for picture in coarse:
        assert np.abs(picture - coarse[0]).mean() < 1.0
        assert np.abs(picture - coarse[0][:, ::-1]).mean() > 10.0


def test_a_real_heic_is_upright_reduced_and_knows_its_lens() -> None:
    """github.com/ianare/exif-samples (CC BY-SA 4.0): shown 3024 x 4032, 26 mm equivalent."""
    file = SHARED_DATA / "heic-sample" / "iphone_13_pro_max.HEIC"
    if not file.is_file():
        pytest.skip("the open example photo is not on this machine")
    photo = read_photo(file)
    assert photo.grey.shape == (2016, 1512)
    assert photo.focal_known
    assert photo.focal_px == pytest.approx(2016 * 26 / 36)


def test_focal_guess_follows_the_width_convention(tmp_path: Path) -> None:
    """Worked by hand: 400 px wide, 27 mm on 36 mm film is 300 px; upright or not."""
    wide = save(tmp_path / "w.png", a_scene(), FocalLengthIn35mmFilm=27)
    tall = save(tmp_path / "t.png", a_scene(), orientation=6, FocalLengthIn35mmFilm=27)
    assert read_photo(wide).focal_px == pytest.approx(300.0)
    assert read_photo(tall).focal_px == pytest.approx(300.0)
    reduced = read_photo(wide, longest_px=200)
    assert reduced.grey.shape == (150, 200)
    assert reduced.focal_px == pytest.approx(150.0)


def test_focal_guess_from_the_sensor_density(tmp_path: Path) -> None:
    """4.5 mm behind 1000 px to the centimetre is 450 px."""
    path = save(
        tmp_path / "a.png",
        a_scene(),
        FocalLength=4.5,
        FocalPlaneXResolution=1000.0,
        FocalPlaneResolutionUnit=3,
    )
    photo = read_photo(path)
    assert photo.focal_known
    assert photo.focal_px == pytest.approx(450.0)


def test_without_lens_remarks_the_usual_phone_lens_is_assumed(tmp_path: Path) -> None:
    photo = read_photo(save(tmp_path / "a.png", a_scene(), FocalLengthIn35mmFilm=0))
    assert not photo.focal_known
    assert photo.focal_px == pytest.approx(400 * 26 / 36)


def test_other_zoom_size_or_shape_is_another_lens_and_a_turned_camera_is_not(
    tmp_path: Path,
) -> None:
    keys = {
        read_photo(save(tmp_path / f"{i}.png", picture, **lens)).lens_key  # type: ignore[arg-type]
        for i, (picture, lens) in enumerate(
            [
                (a_scene(), {"FocalLengthIn35mmFilm": 26}),
                (a_scene(), {"FocalLengthIn35mmFilm": 52}),
                (a_scene(), {"FocalLengthIn35mmFilm": 26, "orientation": 2}),
                (a_scene(240, 400), {"FocalLengthIn35mmFilm": 26}),
            ]
        )
    }
    assert len(keys) == 4
    for turns, orientation in enumerate((1, 6, 3, 8)):
        again = read_photo(
            save(
                tmp_path / f"again{turns}.png",
                a_scene(),
                orientation=orientation,
                FocalLengthIn35mmFilm=26,
            )
        )
        assert again.lens_key in keys
        assert again.quarter_turns == turns


def test_reduction_keeps_pixels_square(tmp_path: Path) -> None:
    """A 0.05 % squeeze would be half a millimetre in a metre; 1 part in 20 000 is allowed."""
    for height, width in [(750, 1333), (1000, 1499), (641, 1280)]:
        photo = read_photo(save(tmp_path / "a.png", a_scene(height, width)), longest_px=600)
        assert 580 < photo.width_px <= 600
        assert (photo.width_px / width) / (photo.height_px / height) == pytest.approx(1, abs=5e-4)
    exact = read_photo(save(tmp_path / "b.png", a_scene(900, 1200)), longest_px=600)
    assert exact.grey.shape == (450, 600)


def test_deep_grey_is_scaled_not_clipped(tmp_path: Path) -> None:
    deep = a_scene().astype(np.uint16) * 257
    Image.fromarray(deep).save(tmp_path / "deep.tif")
    assert np.array_equal(read_photo(tmp_path / "deep.tif").grey, a_scene())


def test_folders_and_files_give_sorted_photos_once(tmp_path: Path) -> None:
    for name in ["IMG_10.JPG", "IMG_9.jpg", ".IMG_9.jpg", "notes.txt", "b.png"]:
        (tmp_path / name).write_bytes(b"x")
    found = find_photos([tmp_path, tmp_path / "b.png"])
    assert [p.name for p in found] == ["b.png", "IMG_9.jpg", "IMG_10.JPG"]


def test_same_names_in_two_folders_are_told_apart(tmp_path: Path) -> None:
    for folder, dark in [("front", 0), ("back", 5)]:
        (tmp_path / folder).mkdir()
        save(tmp_path / folder / "IMG_1.png", a_scene() - np.uint8(dark))
    photos, _ = read_photos(find_photos([tmp_path / "front", tmp_path / "back"]))
    assert [p.name for p in photos] == ["back/IMG_1.png", "front/IMG_1.png"]


def test_an_exact_copy_is_left_out_with_a_note(tmp_path: Path) -> None:
    for name in ["a.png", "b.png"]:
        save(tmp_path / name, a_scene())
    photos, findings = read_photos(find_photos([tmp_path]))
    assert [p.name for p in photos] == ["a.png"]
    assert [(f.code, f.where) for f in findings] == [("photo-repeated", "b.png")]


def test_progress_runs_from_nothing_to_all(tmp_path: Path) -> None:
    save(tmp_path / "a.png", a_scene())
    seen: list[float] = []
    read_photos([tmp_path / "a.png"], progress=lambda part, _: seen.append(part))
    assert seen == [0.0, 1.0]


def damaged(folder: Path, kind: str) -> Path:
    path = folder / f"{kind}.jpg"
    if kind == "text":
        path.write_text("these are my photos")
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "truncated":
        save(path, a_scene())
        path.write_bytes(path.read_bytes()[:3000])
    elif kind == "preview":
        save(path, a_scene(60, 80))
    return path


@pytest.mark.parametrize("kind", ["text", "empty", "truncated", "preview", "missing"])
def test_an_unusable_file_is_named_with_cause_and_remedy(tmp_path: Path, kind: str) -> None:
    path = damaged(tmp_path, kind)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert path.name in caught.value.cause
    assert caught.value.remedy.endswith(".")


def test_one_unreadable_photo_does_not_stop_the_others(tmp_path: Path) -> None:
    save(tmp_path / "good.png", a_scene())
    photos, findings = read_photos([tmp_path / "good.png", damaged(tmp_path, "truncated")])
    assert [p.name for p in photos] == ["good.png"]
    assert [(f.code, f.severity, f.where) for f in findings] == [
        ("photo-unreadable", Severity.WARNING, "truncated.jpg")
    ]
    assert findings[0].remedy


def test_only_unreadable_photos_are_an_error(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="None of the 2 photos can be read") as caught:
        read_photos([damaged(tmp_path, "text"), damaged(tmp_path, "empty")])
    assert "text.jpg" in caught.value.cause


def test_folder_without_photos_and_wrong_paths_are_errors(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "notes.txt").write_text("x")
    for paths, words in [
        ([tmp_path / "empty"], "holds no photos"),
        ([tmp_path / "nowhere"], "no photo or folder"),
        ([tmp_path / "notes.txt"], "notes.txt is not a photo"),
        ([], "No photos were named"),
    ]:
        with pytest.raises(PhotoError, match=words):
            find_photos(paths)


def test_a_photo_value_refuses_colour_and_is_read_only() -> None:
    with pytest.raises(ShapeError):
        Photo("a", np.zeros((4, 4, 3), np.uint8), 100.0, True, "k")
    with pytest.raises(ShapeError):
        Photo("a", np.zeros((4, 4), np.uint8), float("nan"), True, "k")
    photo = Photo("a", np.zeros((4, 6), np.uint8), 100.0, True, "k")
    assert (photo.width_px, photo.height_px) == (6, 4)
    assert not photo.grey.flags.writeable


def test_a_large_jpeg_is_decoded_coarser_and_stays_in_place(tmp_path: Path) -> None:
    """Against the mean of 8 x 8 pixels, which is the reduction without any shift."""
    rng = np.random.default_rng(6)
    coarse = cv2.GaussianBlur(rng.uniform(0, 255, (384, 512)), (0, 0), 3.0)
    coarse = (coarse - coarse.min()) / np.ptp(coarse) * 220 + 15
    large = cv2.resize(coarse, (4096, 3072), interpolation=cv2.INTER_CUBIC)
    path = save(tmp_path / "large.jpg", np.clip(large, 0, 255).astype(np.uint8))
    photo = read_photo(path, longest_px=512)
    exact = large.reshape(384, 8, 512, 8).mean(axis=(1, 3))
    assert photo.grey.shape == exact.shape
    assert np.abs(photo.grey - exact).mean() < 0.6
    shift, _ = cv2.phaseCorrelate(exact, photo.grey.astype(np.float64))
    assert np.abs(shift).max() < 0.01
