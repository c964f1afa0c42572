"""Contact sheet of the photos: which were used, where the marker sheets were seen."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.photo import Photo
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.errors import InputError
from fitkit.export.lettering import font_px, write_with_halo
from fitkit.geometry.arrays import Floats

__all__ = ["png_of_photo", "png_of_photos"]

_GAP_PX = 10
_CAPTION_PX = 22
_HEAD_PX = 40
_LEAST_WIDTH_PX = 170
_MOST_LINES = 4
_TEXT_PX = 13
_USED = (0, 114, 178)
_LEFT_OUT = (190, 60, 0)
# Corners of a sheet nearer to the lens plane than this cannot be drawn.
_NEAREST_MM = 50.0


def png_of_photos(
    photos: Sequence[Photo], solved: SolvedCameras, *, thumbnail_px: int = 300, columns: int = 6
) -> bytes:
    """Return all photos small, side by side.

    Every solved sheet is outlined where the cameras say it lies, with its number: an outline
    beside the sheet's picture shows a bad solution at once. A photo that was left out is
    crossed and its reason written below it.

    Parameters
    ----------
    photos
        The photos as read.
    solved
        What the adjustment made of them.
    thumbnail_px
        Longest side of each small photo.
    columns
        How many stand side by side.

    Raises
    ------
    InputError
        When there is no photo.
    """
    from PIL import Image

    if not photos:
        raise InputError("There is no photo to show.", "Add photos to the job.")
    cameras = {camera.photo: camera for camera in solved.cameras}
    reasons: dict[str, str] = {}
    # what is said of the photo itself comes before what is said of its lens
    for finding in sorted(solved.findings, key=lambda f: not f.code.startswith("photo-")):
        reasons.setdefault(finding.where, finding.message)
    shares = [photo.grey.shape[1] / max(photo.grey.shape) for photo in photos]
    width = max(round(max(shares) * thumbnail_px), _LEAST_WIDTH_PX)
    cells = [
        _cell(photo, cameras.get(photo.name), solved.sheets, reasons, thumbnail_px, width)
        for photo in photos
    ]
    columns = min(columns, len(cells))
    rows = [cells[i : i + columns] for i in range(0, len(cells), columns)]
    heights = [max(cell.height for cell in row) + _GAP_PX for row in rows]
    sheet = Image.new(
        "RGB", (columns * (width + _GAP_PX) + _GAP_PX, sum(heights) + _HEAD_PX), "white"
    )
    top = _HEAD_PX
    for row, height in zip(rows, heights, strict=True):
        for column, cell in enumerate(row):
            sheet.paste(cell, (_GAP_PX + column * (width + _GAP_PX), top))
        top += height
    _write_head(sheet, len(photos), sum(p.name in cameras for p in photos), solved)
    buffer = io.BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()


def png_of_photo(
    photo: Photo,
    camera: Camera | None,
    sheets: Sequence[SolvedSheet],
    *,
    longest_px: int = 240,
    colours: int = 40,
) -> bytes:
    """Return one photo small, the sheets outlined, or crossed where it has no camera.

    Few colours keep a page of two hundred photos small.
    """
    small = _marked(photo, camera, sheets, longest_px).quantize(colours, method=0, dither=0)
    buffer = io.BytesIO()
    small.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _marked(
    photo: Photo, camera: Camera | None, sheets: Sequence[SolvedSheet], longest_px: int
) -> Any:
    """One photo small with its outlines or its cross, as a Pillow image."""
    from PIL import Image, ImageDraw

    full_height, full_width = photo.grey.shape
    scale = longest_px / max(full_width, full_height)
    size = max(round(full_width * scale), 1), max(round(full_height * scale), 1)
    small = Image.fromarray(photo.grey).convert("RGB").resize(size, Image.Resampling.BOX)
    draw = ImageDraw.Draw(small)
    if camera is None:
        for ends in ([(0, 0), size], [(0, size[1]), (size[0], 0)]):
            draw.line(ends, fill="white", width=7)
            draw.line(ends, fill=_LEFT_OUT, width=3)
    else:
        for sheet in sheets:
            _outline(draw, sheet, camera, scale, size)
    return small


def _write_head(sheet: Any, photos: int, used: int, solved: SolvedCameras) -> None:
    from PIL import ImageDraw

    text = (
        f"{used} of {photos} photos used · {len(solved.sheets)} marker sheets · "
        f"{solved.reprojection_rms_px:.2f} px · scale ±{100.0 * solved.scale_sigma:.2g} %"
    )
    draw = ImageDraw.Draw(sheet)
    size = 17
    while size > 9 and font_px(size).getlength(text) > sheet.width - 2 * _GAP_PX:
        size -= 1
    draw.text((_GAP_PX, 20), text, font=font_px(size), fill=(30, 30, 30), anchor="lm")


def _cell(
    photo: Photo,
    camera: Camera | None,
    sheets: Sequence[SolvedSheet],
    reasons: dict[str, str],
    longest_px: int,
    width_px: int,
) -> Any:
    """One photo with its outlines or its cross, and a caption, as a Pillow image."""
    from PIL import Image, ImageDraw

    small = _marked(photo, camera, sheets, longest_px)
    size = small.size
    reason = reasons.get(photo.name, "left out") if camera is None else ""
    lines = _lines_that_fit(reason, width_px)[:_MOST_LINES]
    cell = Image.new("RGB", (width_px, size[1] + _CAPTION_PX + 17 * len(lines)), "white")
    cell.paste(small, ((width_px - size[0]) // 2, 0))
    caption = ImageDraw.Draw(cell)
    caption.text(
        (2, size[1] + 4),
        _ending(photo.name, width_px),
        font=font_px(_TEXT_PX),
        fill=(30, 30, 30) if camera else _LEFT_OUT,
    )
    for i, line in enumerate(lines):
        caption.text(
            (2, size[1] + _CAPTION_PX + 17 * i), line, font=font_px(_TEXT_PX), fill=_LEFT_OUT
        )
    return cell


def _outline(
    draw: Any, solved: SolvedSheet, camera: Camera, scale: float, size: tuple[int, int]
) -> None:
    sheet = solved.sheet()
    if sheet is None:
        return
    if isinstance(sheet, MarkerSheet):
        half = np.array([sheet.paper.width_mm, sheet.paper.height_mm]) / 2.0
    else:
        half = np.full(2, sheet.tag_side_mm / 2.0)
    around = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]]) * half
    # a lens bends straight edges: go along them in steps
    steps = np.linspace(0.0, 1.0, 8, endpoint=False)[:, None]
    rim = np.concatenate(
        [a + steps * (b - a) for a, b in zip(around, np.roll(around, -1, axis=0), strict=True)]
    )
    sheet_mm = np.column_stack([rim, np.zeros(len(rim))])
    world = solved.world_from_sheet.apply(sheet_mm)
    if (camera.camera_from_world.apply(world)[:, 2] < _NEAREST_MM).any():
        return
    # Pixel centres are whole numbers in the photo and in the small picture alike.
    pixels: Floats = (camera.project(world) + 0.5) * scale - 0.5
    middle = pixels.mean(axis=0)
    if not ((pixels > -size[0]).all() and (pixels < 2 * max(size)).all()):
        return
    loop = [tuple(map(float, p)) for p in [*pixels, pixels[0]]]
    draw.line(loop, fill="white", width=4)
    draw.line(loop, fill=_USED, width=2)
    if (middle > 0).all() and (middle < np.array(size)).all():
        write_with_halo(
            draw, (float(middle[0]), float(middle[1])), str(sheet.number), ink=_USED, anchor="mm"
        )


def _lines_that_fit(text: str, width: int) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font_px(_TEXT_PX).getlength(longer) <= width - 4:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _ending(name: str, width: int) -> str:
    """Return the end of a file name that fits; that is where names differ."""
    shown = name
    while len(shown) > 1 and font_px(_TEXT_PX).getlength("…" + shown) > width - 4:
        shown = shown[1:]
    return shown if shown == name else "…" + shown
