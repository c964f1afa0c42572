"""Real photo files through the scan: what is kept of them, and what the scale is held to.

Only the surface and what follows it are quick stand-ins.
"""

from __future__ import annotations

import io
import json
import shutil
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image, PngImagePlugin

from fitkit.capture.photo import Photo
from fitkit.findings import Severity
from fitkit.workflow import check_job, make_job, scan_job
from tests.capture.sheet_scene import photo_of, ring_of_cameras, sheets_on_floor
from tests.workflow.quick_steps import JOB, quick_modules

REAL = {
    "photo",
    "solve_cameras",
    "sheet_view",
    "sheet_view_memory",
    "small_picture",
    "scan_picture",
}
PLACE = "Heronry Lane 7"
# 54 deg 19 min 37.12 s and its kin, written as no other number of the job would be.
SECONDS = 37.12, 48.56


@pytest.fixture
def real_photos(monkeypatch: pytest.MonkeyPatch) -> None:
    # Before any stands in the way of what the real ones import.
    for name in quick_modules():
        if name.rsplit(".", 1)[1] in REAL:
            import_module(name)
    for name, module in quick_modules().items():
        if name.rsplit(".", 1)[1] not in REAL:
            monkeypatch.setitem(sys.modules, name, module)


@pytest.fixture(scope="session")
def photo_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six photos of sheets on a floor, each with a position in its EXIF block."""
    folder = tmp_path_factory.mktemp("walk")
    sheets = sheets_on_floor()
    for k, camera in enumerate(ring_of_cameras(per_ring=3)):
        exif = Image.Exif()
        exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Heron Optics", "Warden 1"
        exif[ExifTags.Base.ImageDescription] = PLACE
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 27
        exif.get_ifd(ExifTags.IFD.GPSInfo).update(
            {
                ExifTags.GPS.GPSLatitudeRef: "N",
                ExifTags.GPS.GPSLatitude: (54.0, 19.0, SECONDS[0]),
                ExifTags.GPS.GPSLongitudeRef: "W",
                ExifTags.GPS.GPSLongitude: (6.0, 11.0, SECONDS[1]),
            }
        )
        picture = Image.fromarray(photo_of(camera, sheets, seed=k, fine=2).grey)
        picture.save(folder / camera.photo, exif=exif, quality=95)
    return folder


def job_of(folder: Path) -> Path:
    (folder / "photos").mkdir(parents=True)
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    return folder


def laid_mm(a: int, b: int) -> float:
    places = [pose.translation_mm for _, pose in sheets_on_floor()]
    return float(np.linalg.norm(places[a - 1] - places[b - 1]))


@pytest.mark.usefixtures("real_photos")
def test_no_position_leaves_the_photos(tmp_path: Path, photo_files: Path) -> None:
    folder = job_of(tmp_path / "job")
    originals = sorted(photo_files.iterdir())
    with Image.open(originals[0]) as first:
        assert first.getexif().get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] == "N"
    scan_job(folder, [photo_files])
    make_job(folder)
    written = [
        path
        for path in folder.rglob("*")
        if path.is_file() and path.relative_to(folder).parts[0] != "photos"
    ]
    assert {path.relative_to(folder).parts[0] for path in written} >= {"scan", "body", "out"}
    assert (folder / "scan" / "front.png") in written
    assert (folder / "scan" / "photos.png") in written
    marks = [PLACE.encode(), b"Exif", b"37.12", b"48.56", b"Warden 1", b"GPSInfo", b"Latitude"]
    for path in written:
        content = path.read_bytes()
        for mark in marks:
            assert mark not in content, (path.name, mark)
        if path.suffix == ".png" and content.startswith(b"\x89PNG\r\n"):
            with Image.open(io.BytesIO(content)) as picture:
                assert isinstance(picture, PngImagePlugin.PngImageFile)
                assert len(picture.getexif()) == 0
                assert picture.text == {}


@pytest.mark.usefixtures("real_photos")
def test_a_check_that_differs_stands_until_it_is_mended(tmp_path: Path, photo_files: Path) -> None:
    from typer.testing import CliRunner

    from fitkit.cli.app import app

    folder = job_of(tmp_path / "job")
    true_mm = laid_mm(1, 5)

    def scan(*words: str) -> tuple[int, dict]:
        result = CliRunner().invoke(app, ["scan", str(folder), *words, "--json"])
        return result.exit_code, json.loads(result.stdout)

    code, told = scan(str(photo_files), "--check", f"1-5={1.02 * true_mm:.1f} mm")
    assert code == 3
    facts = told["steps"][0]["facts"]
    assert facts["checks"][0]["between"] == "1-5"
    assert facts["checks"][0]["agrees"] is False
    assert facts["checks"][0]["off"] == pytest.approx(1 / 1.02 - 1, abs=1e-3)
    assert facts["scale_sigma"] > 0.015
    stops = [f for f in check_job(folder).findings if f.severity is Severity.STOP]
    assert [f.code for f in stops] == ["check-differs"]

    code, told = scan("--check", f"1-5={true_mm:.1f} mm", "--check", f"3-7={laid_mm(3, 7):.1f}")
    assert code == 0
    facts = told["steps"][0]["facts"]
    assert [row["agrees"] for row in facts["checks"]] == [True, True]
    assert facts["scale_sigma"] < 0.001
    codes = {finding["code"] for finding in told["steps"][0]["findings"]}
    assert "check-agrees" in codes
    assert "print-not-measured" not in codes
    text = (folder / "job.toml").read_text(encoding="utf-8")
    assert f'checks = ["1-5={true_mm:.1f} mm", "3-7={laid_mm(3, 7):.1f}"]' in text
    # The next time nothing runs, and the facts are told all the same.
    assert scan()[1]["steps"][0]["facts"] == facts


@pytest.mark.usefixtures("real_photos")
def test_a_check_that_says_nothing_changes_nothing(tmp_path: Path, photo_files: Path) -> None:
    from fitkit.errors import InputError

    folder = job_of(tmp_path / "job")
    with pytest.raises(InputError, match="not a check length"):
        scan_job(folder, [photo_files], checks=["from 1 to 5"])
    assert list((folder / "photos").iterdir()) == []
    shutil.rmtree(folder)


@pytest.mark.usefixtures("real_photos")
def test_a_scan_with_more_photos_measures_only_the_new_ones_and_comes_out_the_same(
    tmp_path: Path, photo_files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fitkit.capture import sheet_view

    measured: list[str] = []

    def counting(photo: Photo, *rest: Any) -> Any:
        measured.append(photo.name)
        return view_sheets(photo, *rest)

    view_sheets = sheet_view.view_sheets
    monkeypatch.setattr(sheet_view, "view_sheets", counting)
    names = sorted(path.name for path in photo_files.iterdir())
    again, fresh = job_of(tmp_path / "again"), job_of(tmp_path / "fresh")
    scan_job(again, [photo_files / name for name in names[:4]])
    assert measured == names[:4]
    scan_job(again, [photo_files / name for name in names[4:]])
    assert measured == names
    scan_job(fresh, [photo_files])
    cameras = [(folder / "scan" / "cameras.json").read_bytes() for folder in (again, fresh)]
    assert cameras[0] == cameras[1]

    # What is kept may be damaged or thrown away at any time.
    kept = again / ".fitkit" / "sheet-views"
    assert len(list(kept.iterdir())) == len(names)
    for path in kept.iterdir():
        path.write_bytes(b"not what it was")
    (again / "scan" / "cameras.json").unlink()
    measured.clear()
    scan_job(again)
    assert measured == names
    assert (again / "scan" / "cameras.json").read_bytes() == cameras[1]
