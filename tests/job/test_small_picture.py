"""A photo shown elsewhere is upright and carries no position."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from fitkit.errors import FileError
from fitkit.job.small_picture import small_picture

# Tags of the Exif 2.32 standard (CIPA DC-008): Orientation 0x0112, GPS IFD 0x8825 with
# GPSLatitudeRef 1 and GPSLatitude 2, Make 0x010F. Orientation 6: the top row is the right side.
ORIENTATION, GPS, MAKE = 0x0112, 0x8825, 0x010F


def test_it_is_upright_and_bare(tmp_path: Path) -> None:
    image = Image.new("RGB", (640, 480), "black")
    image.paste((255, 255, 255), (0, 0, 320, 480))  # left half white
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif[MAKE] = "Maker of cameras"
    exif.get_ifd(GPS).update({1: "N", 2: (52.0, 31.0, 12.0)})
    path = tmp_path / "a.jpg"
    image.save(path, exif=exif, comment=b"secret")
    with Image.open(path) as written:
        assert dict(written.getexif().get_ifd(GPS))  # the position is in the photo
    content = small_picture(path, longest_px=320)
    with Image.open(io.BytesIO(content)) as small:
        assert small.size == (240, 320)
        assert small.getpixel((120, 20)) == pytest.approx((255, 255, 255), abs=4)
        assert small.getpixel((120, 300)) == pytest.approx((0, 0, 0), abs=4)
        assert not small.getexif()
        assert not small.info
    for word in (b"Maker", b"secret", b"Exif", b"eXIf", b"tEXt"):
        assert word not in content


def test_what_is_no_photo_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_text("words")
    with pytest.raises(FileError, match=r"'a\.jpg' cannot be read"):
        small_picture(path)
