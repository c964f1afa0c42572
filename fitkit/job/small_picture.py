"""A small upright copy of a photo to be looked at, without anything but its pixels."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fitkit.errors import FileError
from fitkit.geometry.arrays import Bytes

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["small_picture", "small_picture_of_grey"]


def small_picture(
    photo: Path, *, longest_px: int = 800, kind: Literal["PNG", "JPEG"] = "PNG"
) -> bytes:
    """Return a photo as a small picture, turned upright; position and other data stay behind.

    Raises
    ------
    FileError
        When the photo cannot be read.
    """
    from PIL import Image, ImageOps

    try:
        with Image.open(photo) as image:
            image.draft("RGB", (longest_px, longest_px))
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except Exception as error:
        # A damaged file may make the decoder raise anything.
        raise FileError(
            f"The photo '{photo.name}' cannot be read: {error}.", "Take it out of photos/."
        ) from error
    return _bare(upright, longest_px, kind)


def small_picture_of_grey(grey: Bytes, *, longest_px: int = 800) -> bytes:
    """Return an (H, W) uint8 picture, a film's frame say, as a small PNG."""
    from PIL import Image

    return _bare(Image.fromarray(grey).convert("RGB"), longest_px, "PNG")


def _bare(upright: Image.Image, longest_px: int, kind: str) -> bytes:
    from PIL import Image

    upright.thumbnail((longest_px, longest_px))
    # A new image carries no information block of the old one.
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    content = io.BytesIO()
    bare.save(content, kind, optimize=kind == "PNG", quality=85)
    return content.getvalue()
