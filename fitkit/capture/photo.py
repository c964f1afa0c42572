"""Photos as the capture room works on them: upright, grey, of bounded size.

Position data and everything else in the file's EXIF block stays behind; only the lens
remarks that help the adjustment are taken along.
"""

from __future__ import annotations

import hashlib
import math
import os
import re
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pillow_heif
from PIL import ExifTags, Image, UnidentifiedImageError

from fitkit.capture.photo_pixels import (
    colour_of_picture,
    draft_reduced,
    grey_of_picture,
    reduced_to,
    turned_upright,
)
from fitkit.capture.photo_remarks import (
    FILM_WIDTH_MM,
    exif_number,
    exif_of,
    exif_words,
    focal_px_of_file,
    orientation_of,
)
from fitkit.errors import PhotoError, ShapeError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bytes

__all__ = [
    "PHOTO_SUFFIXES",
    "VIDEO_SUFFIXES",
    "Photo",
    "find_photos",
    "read_photo",
    "read_photos",
]

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".heic", ".heif", ".tif", ".tiff", ".webp")
"""File name endings, in any letter case, that are taken for photos."""
VIDEO_SUFFIXES = (".mp4", ".mov", ".avi", ".m4v")
"""Those that are taken for films."""

# The main camera of most phones is a 24 to 28 mm equivalent (common practice, no source).
_DEFAULT_FOCAL_35MM = 26.0
_SHORTEST_SIDE_PX = 200
# Where Pillow refuses by itself; its HEIF decoder does not ask.
_MOST_PIXELS = 178_956_970

# What the EXIF orientations that do not mirror ask for, clockwise.
_QUARTER_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}

pillow_heif.register_heif_opener()


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One photo of the wearer.

    Attributes
    ----------
    name
        The file's name; with as much of its folder as tells it from the others.
    grey
        (H, W) uint8, upright, tone curve as the camera stored it.
    focal_px
        Guess of the focal length in pixels of ``grey``.
    focal_known
        True when the guess comes from the file, False when it is the usual phone lens.
    lens_key
        Photos with the same key were taken with the same camera at the same zoom and size, so
        that one lens serves them all, however the camera was held.
    camera
        Camera, lens and zoom as the file names them; empty where it does not.
    stored_px
        Long and short side of the picture in the file.
    taken_px
        The same as the camera noted them when it took the photo, where it did.
    quarter_turns
        How often the sensor's picture was turned clockwise to stand upright, 0 to 3.
    colour
        (h, w, 3) uint8 RGB of the same view, at most 1008 px on the long side, where the file
        has colours.
    """

    name: str
    grey: Bytes
    focal_px: float
    focal_known: bool
    lens_key: str
    camera: str = ""
    stored_px: tuple[int, int] = (0, 0)
    taken_px: tuple[int, int] | None = None
    quarter_turns: int = 0
    colour: Bytes | None = None

    def __post_init__(self) -> None:
        if self.grey.ndim != 2 or self.grey.dtype != np.uint8 or min(self.grey.shape) < 1:
            raise ShapeError(
                f"The grey picture of {self.name} is {self.grey.dtype} {self.grey.shape}, "
                "expected uint8 (height, width).",
                "Pass one 8 bit grey value per pixel.",
            )
        if not (math.isfinite(self.focal_px) and self.focal_px > 0):
            raise ShapeError(
                f"The focal length of {self.name} is {self.focal_px} px.", "Pass a length above 0."
            )
        if self.grey.flags.writeable:
            grey = self.grey.copy()
            grey.flags.writeable = False
            object.__setattr__(self, "grey", grey)

    @property
    def width_px(self) -> int:
        """Columns of ``grey``."""
        return int(self.grey.shape[1])

    @property
    def height_px(self) -> int:
        """Rows of ``grey``."""
        return int(self.grey.shape[0])


def find_photos(paths: Iterable[str | os.PathLike[str]]) -> tuple[Path, ...]:
    """Return the photo and film files among files and folders, sorted, each once.

    A folder stands for those directly inside it; hidden files are passed over.
    Numbers in names sort by value, so that ``IMG_9`` comes before ``IMG_10``.

    Raises
    ------
    PhotoError
        When a path does not exist, a named file is no photo, or a folder holds none.
    """
    known = (*PHOTO_SUFFIXES, *VIDEO_SUFFIXES)
    found: dict[Path, Path] = {}
    for path in map(Path, paths):
        if path.is_dir():
            inside = [
                entry
                for entry in path.iterdir()
                if entry.suffix.lower() in known
                and not entry.name.startswith(".")
                and entry.is_file()
            ]
            if not inside:
                raise PhotoError(
                    f"The folder {path} holds no photos.",
                    f"Put photos ({', '.join(s[1:] for s in PHOTO_SUFFIXES)}) into it.",
                )
        elif not path.is_file():
            raise PhotoError(
                f"There is no photo or folder {path}.", "Check the name and the folder it is in."
            )
        elif path.suffix.lower() not in known:
            raise PhotoError(
                f"{path.name} is not a photo that can be read.",
                f"Give files ending in {', '.join(s[1:] for s in known)}.",
            )
        else:
            inside = [path]
        for entry in inside:
            found.setdefault(entry.resolve(), entry)
    if not found:
        raise PhotoError("No photos were named.", "Name the photos or the folder they are in.")
    return tuple(sorted(found.values(), key=_sort_key))


def read_photo(path: str | os.PathLike[str], *, longest_px: int = 2016) -> Photo:
    """Read one photo: turned upright, grey, its longest side at most ``longest_px``.

    The focal length guess follows from the EXIF field FocalLengthIn35mmFilm by the width
    convention, ``long side x f35 / 36 mm``. (By the diagonal convention of the same field
    the guess is 4 % longer for a 4:3 picture; the adjustment must bridge that anyway.)

    Raises
    ------
    PhotoError
        When the file is missing, damaged, no picture, or too small or large to use.

    References
    ----------
    CIPA DC-008, *Exchangeable image file format for digital still cameras: Exif*
    (tags Orientation 0x0112 and FocalLengthIn35mmFilm 0xA405).
    """
    path = Path(path)
    try:
        with warnings.catch_warnings():
            # Phones make pictures of 100 and more megapixels; that alone is no attack.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            # A damaged EXIF block must not cost the picture.
            warnings.simplefilter("ignore", UserWarning)
            with Image.open(path) as picture:
                return _photo_of_picture(picture, path.name, longest_px)
    except FileNotFoundError as error:
        raise PhotoError(
            f"There is no photo {path}.", "Check the name and the folder it is in."
        ) from error
    except PermissionError as error:
        raise PhotoError(
            f"The photo {path.name} may not be read.", "Change the file's access rights."
        ) from error
    except UnidentifiedImageError as error:
        raise PhotoError(
            f"{path.name} is not a picture, whatever its name says.",
            "Copy the photo from the camera again, or leave the file out.",
        ) from error
    except Image.DecompressionBombError as error:
        raise PhotoError(
            f"The photo {path.name} has more pixels than can be handled.",
            "Save it with at most 100 megapixels.",
        ) from error
    except PhotoError:
        raise
    except MemoryError as error:
        raise PhotoError(
            f"The photo {path.name} does not fit into this machine's memory.",
            "Save it with at most 100 megapixels.",
        ) from error
    except Exception as error:
        # A decoder that is fed garbage may raise anything; a file is never worth more than
        # itself.
        raise PhotoError(
            f"The photo {path.name} is damaged or incomplete.",
            "Copy it from the camera again, or leave it out.",
        ) from error


def read_photos(
    paths: Sequence[str | os.PathLike[str]],
    *,
    longest_px: int = 2016,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[tuple[Photo, ...], tuple[Finding, ...]]:
    """Read photo files one after the other, keeping only the small grey pictures.

    Of a film the sharp frames spread over the walk are taken, up to sixty.
    Files that cannot be read and exact copies of a photo already read are left out with a
    finding each.

    Raises
    ------
    PhotoError
        When not one of them can be read.
    """
    files = [Path(path) for path in paths]
    names = _short_names(files)
    photos: list[Photo] = []
    findings: list[Finding] = []
    first_with: dict[bytes, str] = {}
    first_error: PhotoError | None = None
    part = 0.0

    def told(_part: float, words: str) -> None:
        if progress is not None:
            progress(part, words)

    for index, (file, name) in enumerate(zip(files, names, strict=True)):
        part = index / len(files)
        told(part, f"reading {name}")
        try:
            if file.suffix.lower() in VIDEO_SUFFIXES:
                from fitkit.capture.video import read_video

                read = read_video(file, name, longest_px=longest_px, progress=told)
            else:
                read = (replace(read_photo(file, longest_px=longest_px), name=name),)
        except PhotoError as error:
            first_error = first_error or error
            findings.append(
                Finding("photo-unreadable", Severity.WARNING, name, error.cause, error.remedy)
            )
            continue
        for photo in read:
            digest = hashlib.sha256(photo.grey.tobytes()).digest()
            first = first_with.setdefault(digest, photo.name)
            if first != photo.name:
                findings.append(
                    Finding(
                        "photo-repeated",
                        Severity.NOTE,
                        photo.name,
                        f"{photo.name} is the same picture as {first} and was left out.",
                    )
                )
                continue
            photos.append(photo)
    if progress is not None:
        progress(1.0, "photos read")
    if not photos:
        if len(files) == 1 and first_error is not None:
            raise first_error
        raise PhotoError(
            f"None of the {len(files)} photos can be read"
            + (f"; the first says: {first_error.cause}" if first_error else "."),
            "Copy the photos from the camera again.",
        )
    return tuple(photos), tuple(findings)


def _sort_key(path: Path) -> tuple[list[tuple[int, int, str]], str]:
    """Order by folder, then name, with runs of digits by value."""
    pieces = re.split(r"(\d+)", path.as_posix().lower())
    return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in pieces if p], str(path)


def _short_names(files: Sequence[Path]) -> list[str]:
    """Return each file's name, with as many folders before it as make all of them differ."""
    names = []
    for file in files:
        parts = file.parts
        depth = 1
        while depth < len(parts) and any(
            other != file and other.parts[-depth:] == parts[-depth:] for other in files
        ):
            depth += 1
        names.append("/".join(parts[-depth:]))
    return names


def _photo_of_picture(picture: Image.Image, name: str, longest_px: int) -> Photo:
    exif, lens_exif = exif_of(picture)
    stored_px = (max(picture.size), min(picture.size))
    if min(picture.size) < _SHORTEST_SIDE_PX:
        raise PhotoError(
            f"The photo {name} is only {picture.size[0]} x {picture.size[1]} pixels.",
            "Use the photo as the camera took it, not a preview.",
        )
    if picture.size[0] * picture.size[1] > _MOST_PIXELS:
        raise Image.DecompressionBombError
    draft_reduced(picture, longest_px)
    grey, colour = grey_of_picture(picture), colour_of_picture(picture)
    # Some decoders turn the picture themselves and then say that it is upright.
    orientation = orientation_of(exif_of(picture)[0])
    grey = turned_upright(grey, orientation)
    if colour is not None:
        colour = turned_upright(colour, orientation)
        colour.flags.writeable = False
    grey = reduced_to(grey, longest_px)
    target = (grey.shape[1], grey.shape[0])
    long_side_px = max(target)

    focal_px = focal_px_of_file(lens_exif, stored_px[0], long_side_px)
    focal_known = focal_px is not None
    if focal_px is None:
        focal_px = long_side_px * _DEFAULT_FOCAL_35MM / FILM_WIDTH_MM
    make = exif_words(exif.get(ExifTags.Base.Make))
    model = exif_words(exif.get(ExifTags.Base.Model))
    lens = exif_words(lens_exif.get(ExifTags.Base.LensModel))
    focal_mm = exif_number(lens_exif.get(ExifTags.Base.FocalLength))
    focal_35mm = exif_number(lens_exif.get(ExifTags.Base.FocalLengthIn35mmFilm))
    # A decoder that turned the picture by itself keeps what it was told.
    orientation = picture.info.get("original_orientation") or orientation_of(exif)
    quarter_turns = _QUARTER_TURNS.get(orientation, 0)
    sensor = target[::-1] if quarter_turns % 2 else target
    lens_key = "|".join(
        [
            make,
            model,
            lens,
            f"{focal_mm:g}mm",
            f"{focal_px:.1f}px" if focal_known else "unknown",
            f"{sensor[0]}x{sensor[1]} of {stored_px[0]}x{stored_px[1]}",
            "" if orientation in _QUARTER_TURNS else "mirrored",
        ]
    )
    grey.flags.writeable = False
    camera = "|".join([make, model, lens, f"{focal_mm:g}mm", f"{focal_35mm:g}"])
    taken = sorted(
        (
            int(exif_number(lens_exif.get(ExifTags.Base.ExifImageWidth))),
            int(exif_number(lens_exif.get(ExifTags.Base.ExifImageHeight))),
        )
    )
    return Photo(
        name,
        grey,
        focal_px,
        focal_known,
        lens_key,
        camera if model and (focal_mm or focal_35mm) else "",
        stored_px,
        (taken[1], taken[0]) if taken[0] > 0 else None,
        quarter_turns,
        colour,
    )
