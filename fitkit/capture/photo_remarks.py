"""What a photo file remarks about camera and lens; damaged remarks count as none.

References
----------
CIPA DC-008, *Exchangeable image file format for digital still cameras: Exif*.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from PIL import ExifTags, Image

__all__ = [
    "FILM_WIDTH_MM",
    "exif_number",
    "exif_of",
    "exif_words",
    "focal_px_of_file",
    "orientation_of",
]

FILM_WIDTH_MM = 36.0
"""Width of the film that EXIF's 35 mm equivalents speak of."""


def exif_of(picture: Image.Image) -> tuple[Mapping[int, object], Mapping[int, object]]:
    """Return the EXIF block and its part about the lens; empty where they are damaged."""
    try:
        exif = picture.getexif()
        return dict(exif), dict(exif.get_ifd(ExifTags.IFD.Exif))
    except Exception:
        # Pillow reads the block piece by piece and trusts its numbers.
        return {}, {}


def orientation_of(exif: Mapping[int, object]) -> int:
    """Return the EXIF orientation, upright where it is none of the eight."""
    told = exif.get(ExifTags.Base.Orientation, 1)
    return told if isinstance(told, int) and 1 <= told <= 8 else 1


def focal_px_of_file(
    lens_exif: Mapping[int, object], original_longest_px: int, long_side_px: int
) -> float | None:
    """Return the focal length the file tells, in pixels of the reduced picture."""
    candidates = []
    focal_35mm = exif_number(lens_exif.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if focal_35mm > 0:
        candidates.append(long_side_px * focal_35mm / FILM_WIDTH_MM)
    focal_mm = exif_number(lens_exif.get(ExifTags.Base.FocalLength))
    density = exif_number(lens_exif.get(ExifTags.Base.FocalPlaneXResolution))
    unit_mm = {2: 25.4, 3: 10.0, 4: 1.0}.get(
        int(exif_number(lens_exif.get(ExifTags.Base.FocalPlaneResolutionUnit))), 25.4
    )
    if focal_mm > 0 and density > 0:
        candidates.append(focal_mm * density / unit_mm * long_side_px / original_longest_px)
    # From a fish eye to a long tele lens; anything else is a wrong entry.
    return next((f for f in candidates if 0.3 < f / long_side_px < 15.0), None)


def exif_number(value: object) -> float:
    """Return an EXIF number, 0 where there is none or it makes no sense."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return 0.0
    return number if math.isfinite(number) else 0.0


def exif_words(value: object) -> str:
    """Return an EXIF text without padding or the separator of the key."""
    return str(value or "")[:80].replace("\x00", "").replace("|", "/").strip()
