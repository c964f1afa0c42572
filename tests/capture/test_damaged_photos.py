"""Whatever a file holds, reading it gives a photo or a finding, soon, and nothing else.

Files are damaged at random from a fixed seed; the long run does a thousand.
"""

from __future__ import annotations

import io
import resource
import struct
import subprocess
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageFile

from fitkit.capture.photo import PHOTO_SUFFIXES, Photo, read_photo, read_photos
from fitkit.errors import PhotoError

SECONDS_A_FILE = 60.0  # no file may hang the scan for longer
Rng = np.random.Generator


def sound_files() -> dict[str, bytes]:
    """Photos of every kind that Pillow writes, with a full EXIF block."""
    rows, columns = np.mgrid[0:240, 0:320]
    rng = np.random.default_rng(0)
    grey = 90 + 60 * np.sin(rows / 9) * np.cos(columns / 7) + rng.normal(0, 9, rows.shape)
    colour = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).convert("RGB")
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Heron Optics", "Warden 1"
    exif[ExifTags.Base.Orientation] = 6
    block = exif.get_ifd(ExifTags.IFD.Exif)
    block[ExifTags.Base.FocalLengthIn35mmFilm], block[ExifTags.Base.FocalLength] = 27, 4.5
    block[ExifTags.Base.LensModel] = "Heron 4.5 mm"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (54.0, 19.0, 37.12)
    files = {}
    for suffix, kind in {
        ".jpg": "JPEG", ".png": "PNG", ".tif": "TIFF", ".webp": "WEBP", ".heic": "HEIF",
    }.items():  # fmt: skip
        content = io.BytesIO()
        colour.save(content, kind, exif=exif.tobytes(), quality=90)
        files[suffix] = content.getvalue()
    return files


def cut_short(content: bytes, rng: Rng) -> bytes:
    return content[: int(rng.integers(0, len(content)))]


def flipped(content: bytes, rng: Rng) -> bytes:
    damaged = bytearray(content)
    for _ in range(int(rng.integers(1, 60))):
        damaged[int(rng.integers(0, len(damaged)))] = int(rng.integers(0, 256))
    return bytes(damaged)


def head_flipped(content: bytes, rng: Rng) -> bytes:
    damaged = bytearray(content)
    for _ in range(int(rng.integers(1, 16))):
        damaged[int(rng.integers(0, min(len(damaged), 700)))] = int(rng.integers(0, 256))
    return bytes(damaged)


def zeroed(content: bytes, rng: Rng) -> bytes:
    start = int(rng.integers(0, len(content)))
    length = int(rng.integers(1, len(content)))
    return content[:start] + bytes(min(length, len(content) - start)) + content[start + length :]


def doubled(content: bytes, rng: Rng) -> bytes:
    at = int(rng.integers(0, len(content)))
    return content[:at] + content + content[at:]


def huge(content: bytes, rng: Rng) -> bytes:
    """Declare sides of tens of thousands of pixels in a PNG's or a JPEG's header."""
    sides = struct.pack(">II", *(int(s) for s in rng.integers(8_000, 2**31 - 1, 2)))
    if content.startswith(b"\x89PNG"):
        head = b"IHDR" + sides + content[24:29]
        return content[:12] + head + struct.pack(">I", zlib.crc32(head)) + content[33:]
    frame = max(content.find(b"\xff\xc0"), content.find(b"\xff\xc2"))
    if content.startswith(b"\xff\xd8") and frame > 0:
        return content[: frame + 5] + sides[2:4] + sides[6:8] + content[frame + 9 :]
    return content.replace(struct.pack("<H", 320), b"\xff\xff").replace(
        struct.pack(">I", 320), sides[:4]
    )


def hostile_exif(content: bytes, rng: Rng) -> bytes:
    """Damage the EXIF block alone: counts, offsets, types and values."""
    at = content.find(b"Exif\x00\x00")
    start = at + 6 if at >= 0 else max(content.find(b"II*\x00"), content.find(b"MM\x00*"), 0)
    damaged = bytearray(content)
    for _ in range(int(rng.integers(1, 12))):
        place = start + 8 + int(rng.integers(0, 160))
        value = rng.choice([0, 1, 77, 0x7F, 0xFF])
        for k in range(int(rng.integers(1, 5))):
            if place + k < len(damaged):
                damaged[place + k] = int(value)
    return bytes(damaged)


def something_else(content: bytes, rng: Rng) -> bytes:
    kinds = [
        b"",
        b"\x00" * 5000,
        b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n",
        b"PK\x03\x04" + bytes(rng.integers(0, 256, 400, dtype=np.uint8)),
        b"GIF89a\xff\xff\xff\xff\x00\x00\x00;",
        b"BM" + bytes(rng.integers(0, 256, 60, dtype=np.uint8)),
        b"P5 999999 999999 255\n" + content[:50],
        b"<svg xmlns='http://www.w3.org/2000/svg' width='9e9' height='9e9'/>",
        bytes(rng.integers(0, 256, 3000, dtype=np.uint8)),
        content[:4] + bytes(rng.integers(0, 256, 3000, dtype=np.uint8)),
    ]
    return kinds[int(rng.integers(0, len(kinds)))]


DAMAGES: tuple[Callable[[bytes, Rng], bytes], ...] = (
    cut_short, flipped, head_flipped, zeroed, doubled, huge, hostile_exif, something_else,
)  # fmt: skip


def read_or_error(path: Path) -> Photo | PhotoError:
    try:
        return read_photo(path, longest_px=504)
    except PhotoError as error:
        return error


def read_damaged(folder: Path, count: int, *, seed: int) -> tuple[int, int]:
    """Read so many damaged files; return how many gave a photo and how many an error."""
    rng = np.random.default_rng(seed)
    sound = sound_files()
    kinds = sorted(sound)
    photos = errors = 0
    for k in range(count):
        suffix = kinds[k % len(kinds)]
        content = DAMAGES[k // len(kinds) % len(DAMAGES)](sound[suffix], rng)
        if rng.random() < 0.15:
            suffix = str(rng.choice(PHOTO_SUFFIXES))
        path = folder / f"{k:04d}{suffix}"
        path.write_bytes(content)
        started = time.monotonic()
        found = read_or_error(path)
        if isinstance(found, PhotoError):
            assert path.name in found.cause
            assert found.remedy.endswith(".")
            errors += 1
        else:
            assert max(found.grey.shape) <= 504
            assert np.isfinite(found.focal_px)
            photos += 1
        assert time.monotonic() - started < SECONDS_A_FILE, path.name
        path.unlink()
    return photos, errors


def test_sound_files_are_read(tmp_path: Path) -> None:
    for suffix, content in sound_files().items():
        path = tmp_path / f"a{suffix}"
        path.write_bytes(content)
        assert read_photo(path).grey.shape == (320, 240), suffix


def test_damaged_files_give_a_photo_or_an_error_with_a_remedy(tmp_path: Path) -> None:
    photos, errors = read_damaged(tmp_path, 160, seed=11)
    assert photos > 10
    assert errors > 60


@pytest.mark.slow
def test_a_thousand_damaged_files_stay_within_three_gigabytes(tmp_path: Path) -> None:
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import warnings; warnings.simplefilter('error')\n"
        "from pathlib import Path\n"
        "from tests.capture.test_damaged_photos import read_damaged\n"
        "print(*read_damaged(Path(sys.argv[2]), 1000, seed=5))\n"
    )
    repository = Path(__file__).resolve().parents[2]
    result = subprocess.run(
        [sys.executable, "-c", code, str(repository), str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert result.returncode == 0, result.stderr
    photos, errors = map(int, result.stdout.split())
    assert photos + errors == 1000
    peak_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    assert peak_kb < 3 * 1024**2


def test_nonsense_in_the_exif_block_does_not_cost_the_photo(tmp_path: Path) -> None:
    """Orientation 77, a focal length of 0/0 and of 1e9 mm, a camera name of 60 000 letters."""
    grey = np.tile(np.arange(0, 240, dtype=np.uint8), (300, 2))
    for k, (focal, film) in enumerate([(float("nan"), 27), (1e9, 0), (4.5, 60000)]):
        exif = Image.Exif()
        exif[ExifTags.Base.Orientation] = 77
        exif[ExifTags.Base.Model] = "W" * 60_000
        block = exif.get_ifd(ExifTags.IFD.Exif)
        block[ExifTags.Base.FocalLength] = focal
        block[ExifTags.Base.FocalLengthIn35mmFilm] = film
        Image.fromarray(grey).save(tmp_path / f"{k}.png", exif=exif)
        found = read_photo(tmp_path / f"{k}.png")
        assert found.grey.shape == grey.shape
        assert 0.3 < found.focal_px / 480 < 15.0
        assert len(found.lens_key) < 400


def test_a_picture_that_claims_to_be_huge_is_refused_by_its_header(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def decoded(_: Image.Image) -> None:
        raise AssertionError("its pixels were asked for")

    content = huge(sound_files()[".png"], np.random.default_rng(3))
    (tmp_path / "bomb.png").write_bytes(content)
    monkeypatch.setattr(ImageFile.ImageFile, "load", decoded)
    with pytest.raises(PhotoError, match="more pixels than can be handled"):
        read_photo(tmp_path / "bomb.png")


def test_damaged_photos_among_sound_ones_are_findings(tmp_path: Path) -> None:
    sound = sound_files()
    rng = np.random.default_rng(4)
    (tmp_path / "good.jpg").write_bytes(sound[".jpg"])
    (tmp_path / "bomb.png").write_bytes(huge(sound[".png"], rng))
    (tmp_path / "empty.heic").write_bytes(b"")
    photos, findings = read_photos(sorted(tmp_path.iterdir()))
    assert [photo.name for photo in photos] == ["good.jpg"]
    assert {(f.code, f.where) for f in findings} == {
        ("photo-unreadable", "bomb.png"),
        ("photo-unreadable", "empty.heic"),
    }
