"""The whole line of work in one picture, from the photo to the printed page."""

from __future__ import annotations

import io
from typing import Any

from fitkit.export.lettering import font_px

__all__ = ["png_of_line"]

_CAPTIONS = (
    "photos with marker sheets",
    "body with tape lines",
    "stretch and shrink",
    "template",
    "printed page",
)
_GAP_PX = 46
_CAPTION_PX = 40
_RIM_PX = 14
_INK = (60, 60, 60)


def png_of_line(
    photo_png: bytes,
    body_png: bytes,
    strain_png: bytes,
    template_png: bytes,
    page_png: bytes,
    *,
    height_px: int = 380,
    widest_px: int = 430,
    first_caption: str = _CAPTIONS[0],
) -> bytes:
    """Return five pictures side by side with an arrow from each to the next and a caption.

    Each picture is shown whole: as high as ``height_px`` and no wider than ``widest_px``.
    ``first_caption`` is for a job that began with a mesh.
    """
    from PIL import Image, ImageDraw

    pictures = [
        _fitted(png, height_px, widest_px)
        for png in (photo_png, body_png, strain_png, template_png, page_png)
    ]
    captions = [f"{i + 1}  {text}" for i, text in enumerate((first_caption, *_CAPTIONS[1:]))]
    size = 17
    widths = [
        max(picture.width, int(font_px(size).getlength(caption)))
        for picture, caption in zip(pictures, captions, strict=True)
    ]
    total = sum(widths) + _GAP_PX * (len(pictures) - 1) + 2 * _RIM_PX
    sheet = Image.new("RGB", (total, height_px + _CAPTION_PX + 2 * _RIM_PX), "white")
    draw = ImageDraw.Draw(sheet)
    x, middle = _RIM_PX, _RIM_PX + height_px / 2.0
    for i, (picture, caption, width) in enumerate(zip(pictures, captions, widths, strict=True)):
        left = x + (width - picture.width) // 2
        top = _RIM_PX + (height_px - picture.height) // 2
        sheet.paste(picture, (left, top))
        draw.rectangle(
            (left - 1, top - 1, left + picture.width, top + picture.height), outline=(205, 205, 205)
        )
        draw.text(
            (x + width / 2.0, _RIM_PX + height_px + 24),
            caption,
            font=font_px(size),
            fill=_INK,
            anchor="mm",
        )
        x += width
        if i < len(pictures) - 1:
            _arrow(draw, x + 8.0, x + _GAP_PX - 8.0, middle)
        x += _GAP_PX
    buffer = io.BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()


def _fitted(png: bytes, height: int, widest: int) -> Any:
    from PIL import Image

    picture = Image.open(io.BytesIO(png)).convert("RGB")
    scale = min(height / picture.height, widest / picture.width)
    size = max(round(picture.width * scale), 1), max(round(picture.height * scale), 1)
    return picture.resize(size, Image.Resampling.LANCZOS)


def _arrow(draw: Any, x0: float, x1: float, y: float) -> None:
    draw.line([(x0, y), (x1 - 8, y)], fill=_INK, width=4)
    draw.polygon([(x1 - 12, y - 9), (x1, y), (x1 - 12, y + 9)], fill=_INK)
