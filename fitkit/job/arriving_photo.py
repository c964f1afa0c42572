"""A photo or film that has arrived: what kind it is, and what it is called.

Both follow from its content alone, never from what its sender says.
"""

from __future__ import annotations

import warnings
from pathlib import Path

from fitkit.errors import PhotoError
from fitkit.job.arriving_file import ArrivingFile

__all__ = ["MOST_PIXELS", "ArrivingPhoto", "next_photo_name"]

MOST_PIXELS = 150_000_000
"""The most pixels of a photo that is taken in."""

_SUFFIX_OF_FORMAT = {
    "JPEG": ".jpg",
    "PNG": ".png",
    "HEIF": ".heic",
    "TIFF": ".tif",
    "WEBP": ".webp",
}


class ArrivingPhoto(ArrivingFile):
    """A photo or film that is being received."""

    def whole(self) -> str:
        """Return the name ending for what has arrived, once all of it has.

        Raises
        ------
        PhotoError
            When it is neither a photo nor a film, or has too many pixels.
        FileError
            When the disk does not take it.
        """
        self.flush()
        return _film_suffix(self.path) or _photo_suffix(self.path)


def next_photo_name(job_folder: Path, suffix: str) -> str:
    """Return a name of the job's own that no photo has yet."""
    folder = job_folder / "photos"
    taken = {path.stem.lower() for path in folder.iterdir()} if folder.is_dir() else set()
    number = len(taken) + 1
    while f"photo-{number:03d}" in taken:
        number += 1
    return f"photo-{number:03d}{suffix}"


def _photo_suffix(path: Path) -> str:
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            # Reads the head of the file only; no pixel is unpacked.
            with Image.open(path, formats=tuple(_SUFFIX_OF_FORMAT)) as picture:
                pixels = picture.width * picture.height
                # Phones write JPEG with a second picture behind it, which Pillow calls MPO.
                suffix = _SUFFIX_OF_FORMAT.get(picture.format or "", ".jpg")
    except Image.DecompressionBombError:
        pixels, suffix = MOST_PIXELS + 1, ""
    except Exception as error:
        # A decoder that is fed garbage may raise anything.
        raise PhotoError(
            "This is neither a photo nor a film that can be read.",
            "Give JPEG, PNG, HEIC, TIFF or WebP photos, or MP4, MOV or AVI films.",
        ) from error
    if pixels > MOST_PIXELS:
        raise PhotoError(
            f"This photo has more than {MOST_PIXELS / 1e6:.0f} megapixels.", "Save it smaller."
        )
    return suffix


def _film_suffix(path: Path) -> str:
    """Return the ending for a film by its first bytes; empty where it is none."""
    with open(path, "rb") as file:
        head = file.read(16)
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return ".avi"
    # ISO/IEC 14496-12: a file type box of four characters names the brand; photos in HEIF
    # have brands of their own.
    if head[4:8] != b"ftyp" or head[8:11] in {b"hei", b"hev", b"mif", b"msf", b"avi"}:
        return ""
    return ".mov" if head[8:10] == b"qt" else ".mp4"
