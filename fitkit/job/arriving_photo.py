"""A photo or film on its way into the job: written piece by piece, then looked at, then named.

It lies in ``.fitkit/arriving`` until it is whole and known to be a picture. What it is called and
what kind it is follow from its content alone, never from what its sender says.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
import warnings
from pathlib import Path
from types import TracebackType
from typing import Self

from fitkit.errors import FileError, PhotoError

__all__ = ["MOST_PIXELS", "ArrivingPhoto", "clear_arriving", "next_photo_name"]

MOST_PIXELS = 150_000_000
"""The most pixels of a photo that is taken in."""

_FOLDER = Path(".fitkit") / "arriving"
_GIVEN_UP_S = 3600.0
_SUFFIX_OF_FORMAT = {
    "JPEG": ".jpg",
    "PNG": ".png",
    "HEIF": ".heic",
    "TIFF": ".tif",
    "WEBP": ".webp",
}


class ArrivingPhoto:
    """A file that is being received; gone after the ``with`` block unless it was moved away.

    Parameters
    ----------
    job_folder
        The job that it is for.

    Attributes
    ----------
    path
        Where it lies meanwhile.
    """

    def __init__(self, job_folder: Path) -> None:
        folder = job_folder / _FOLDER
        self.path = folder / secrets.token_hex(8)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._file = open(self.path, "xb")  # noqa: SIM115  closed when the block ends
        except OSError as error:
            raise _no_room(error) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()
        with contextlib.suppress(OSError):
            self.path.unlink()
        with contextlib.suppress(OSError):
            self.path.parent.rmdir()  # goes only when nothing else is on its way

    def write(self, piece: bytes) -> None:
        """Add a piece.

        Raises
        ------
        FileError
            When the disk does not take it.
        """
        try:
            self._file.write(piece)
        except OSError as error:
            raise _no_room(error) from error

    def whole(self) -> str:
        """Return the name ending for what has arrived, once all of it has.

        Raises
        ------
        PhotoError
            When it is neither a photo nor a film, or has too many pixels.
        FileError
            When the disk does not take it.
        """
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise _no_room(error) from error
        return _film_suffix(self.path) or _photo_suffix(self.path)


def next_photo_name(job_folder: Path, suffix: str) -> str:
    """Return a name of the job's own that no photo has yet."""
    folder = job_folder / "photos"
    taken = {path.stem.lower() for path in folder.iterdir()} if folder.is_dir() else set()
    number = len(taken) + 1
    while f"photo-{number:03d}" in taken:
        number += 1
    return f"photo-{number:03d}{suffix}"


def clear_arriving(job_folder: Path) -> None:
    """Take away what never arrived whole: what nothing was added to for an hour."""
    folder = job_folder / _FOLDER
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        with contextlib.suppress(OSError):
            if time.time() - path.stat().st_mtime > _GIVEN_UP_S:
                path.unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()  # goes only when nothing is on its way


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


def _no_room(error: OSError) -> FileError:
    return FileError(
        f"The photo cannot be kept: {error.strerror or error}.",
        "Check that the disk is not full and that you may write into the job folder.",
    )
