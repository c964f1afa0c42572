"""A small upright copy of a photo for overviews, without anything but its pixels."""

from __future__ import annotations

import io
from pathlib import Path

from fitkit.errors import FileError

__all__ = ["small_picture"]


def small_picture(photo: Path, *, longest_px: int = 800) -> bytes:
    """Return a photo as a small PNG, turned upright; position and other data stay behind.

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
    except OSError as error:
        raise FileError(
            f"The photo '{photo.name}' cannot be read: {error}.", "Take it out of photos/."
        ) from error
    upright.thumbnail((longest_px, longest_px))
    # A new image carries no information block of the old one.
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    content = io.BytesIO()
    bare.save(content, "PNG", optimize=True)
    return content.getvalue()
