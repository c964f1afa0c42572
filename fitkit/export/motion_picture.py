"""Pictures of the wearer moving: poses side by side with contacts marked, and ranges as bars."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from fitkit.export.body_picture import PATCH_INKS, VIEWS, png_of_body
from fitkit.export.body_shading import GROUND_RGB, LitBody, view_of
from fitkit.export.lettering import font_px, write_with_halo
from fitkit.export.side_by_side import png_side_by_side
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = [
    "PosedPicture",
    "RangeBar",
    "nearest_view",
    "png_of_poses",
    "png_of_ranges",
    "png_of_trims",
]

_CONTACT = (200, 30, 20)
_INK = (40, 40, 40)
_FREE, _SHORT, _TRIMMED = (0, 114, 178), (213, 94, 0), (86, 180, 233)


@dataclass(frozen=True, slots=True, eq=False)
class PosedPicture:
    """The wearer in one pose.

    Attributes
    ----------
    title
        Written above.
    skin
        The body's surface.
    plates
        Each plate's sheet and a number by which its colour is chosen.
    marks_mm
        (N, 3) float mm: where something touches.
    """

    title: str
    skin: TriangleMesh
    plates: tuple[tuple[TriangleMesh, int], ...]
    marks_mm: Floats


def nearest_view(way: Floats) -> str:
    """Return the view from which one looks most squarely at what faces a way, (3,) float."""
    turn = float(np.arctan2(way[0], -way[1])) % (2 * np.pi)
    return min(VIEWS, key=lambda name: abs((VIEWS[name] - turn + np.pi) % (2 * np.pi) - np.pi))


def png_of_poses(poses: Sequence[PosedPicture], *, view: str, height_px: int = 640) -> bytes:
    """Return poses side by side from one view, all in one scale, contacts ringed in red."""
    tall = max(float(np.ptp(_joined(pose)[0].vertices[:, 2])) for pose in poses)
    return png_side_by_side(
        [_panel(pose, VIEWS[view], height_px / (1.04 * tall)) for pose in poses]
    )


def png_of_trims(
    skin: TriangleMesh,
    plates: Sequence[tuple[TriangleMesh, str]],
    trims: Sequence[tuple[str, float, Floats]],
    *,
    height_px: int = 900,
) -> bytes:
    """Return the wearer at rest in plates with the lines along which they are to be trimmed.

    A patch is named once, with the most that comes off it anywhere.

    Parameters
    ----------
    plates
        Each sheet as worn, and its patch's name.
    trims
        Patch, the greatest width cut off in mm, and a line (N, 3) float mm on the patch as drawn.
    """
    whole, pieces = _as_one([skin, *(mesh for mesh, _ in plates)])
    numbers = {name: k for k, name in enumerate(dict.fromkeys(name for _, name in plates))}
    values = np.concatenate(
        [np.full(len(skin.faces), -1), *(np.full(len(m.faces), numbers[n]) for m, n in plates)]
    )
    widest: dict[str, float] = {}
    for patch, width_mm, _ in trims:
        widest[patch] = max(width_mm, widest.get(patch, 0.0))
    lines = [(f"{patch}: {widest[patch]:.0f} mm", line) for patch, _, line in trims]
    return png_of_body(
        whole,
        paths=lines,
        face_values=values,
        height_px=height_px,
        pieces=pieces,
        letters_px=height_px // 26,  # three views share a page's width
    )


def _as_one(meshes: Sequence[TriangleMesh]) -> tuple[TriangleMesh, Ints]:
    """Return meshes as one, and (V,) int which of them each vertex is of."""
    counts = [len(mesh.vertices) for mesh in meshes]
    starts = np.cumsum([0, *counts[:-1]])
    faces = np.vstack([mesh.faces + start for mesh, start in zip(meshes, starts, strict=True)])
    whole = TriangleMesh(np.vstack([mesh.vertices for mesh in meshes]), faces)
    return whole, np.repeat(np.arange(len(meshes)), counts)


def _joined(pose: PosedPicture) -> tuple[TriangleMesh, Floats, Ints]:
    """Return skin and plates as one mesh, (F, 3) its inks, (V,) which piece each vertex is of."""
    meshes = [pose.skin, *(mesh for mesh, _ in pose.plates)]
    inks = [np.full((len(pose.skin.faces), 3), np.nan)]
    inks += [
        np.tile(np.array(PATCH_INKS[number % len(PATCH_INKS)], dtype=float), (len(m.faces), 1))
        for m, number in pose.plates
    ]
    whole, pieces = _as_one(meshes)
    return whole, np.vstack(inks), pieces


def _panel(pose: PosedPicture, turn_rad: float, px_per_mm: float) -> Any:
    from PIL import Image, ImageDraw

    mesh, inks, pieces = _joined(pose)
    body = LitBody(mesh, pieces=pieces)
    view = view_of(mesh, turn_rad, px_per_mm)
    fine = view_of(mesh, turn_rad, 2 * px_per_mm)
    picture = body.shaded(fine, inks).resize((view.width_px, view.height_px), Image.Resampling.BOX)
    size = view.height_px // 24  # three views share a page's width
    head = 2 * size + 8
    wide = max(view.width_px + 24, int(font_px(size).getlength(pose.title)) + 30)
    panel = Image.new("RGB", (wide, view.height_px + head), GROUND_RGB)
    left = (wide - view.width_px) // 2
    panel.paste(picture, (left, head))
    draw = ImageDraw.Draw(panel)
    for x, y in view.pixels(pose.marks_mm.reshape(-1, 3)).tolist():
        # White outside and black inside, so that it shows in grey too.
        for radius, ink, width in ((19, (255, 255, 255), 3), (16, _CONTACT, 4), (12, _INK, 2)):
            box = (x + left - radius, y + head - radius, x + left + radius, y + head + radius)
            draw.ellipse(box, outline=ink, width=width)
    draw.text((12, 10), pose.title, font=font_px(size), fill=_INK)
    return panel


@dataclass(frozen=True, slots=True)
class RangeBar:
    """One range in degrees: from rest to what is wanted, free so far now and when trimmed."""

    name: str
    rest_deg: float
    wanted_deg: float
    free_deg: float
    trimmed_deg: float
    words: str


def png_of_ranges(bars: Sequence[RangeBar], *, width_px: int = 1400) -> bytes:
    """Return ranges as bars: blue as far as free, light where a trim frees more, orange beyond."""
    from PIL import Image, ImageDraw

    row, head, size = 34, 84, 16
    names = max((int(font_px(size).getlength(bar.name)) for bar in bars), default=0) + 24
    words = max((int(font_px(size).getlength(bar.words)) for bar in bars), default=0) + 24
    wide = max(width_px - names - words, 420)
    low = min((min(bar.rest_deg, 0.0) for bar in bars), default=0.0)
    high = max((bar.wanted_deg for bar in bars), default=90.0)
    sheet = Image.new("RGB", (names + wide + words, head + row * max(len(bars), 1) + 16),
                      GROUND_RGB)  # fmt: skip
    draw = ImageDraw.Draw(sheet)

    def x(degrees: float) -> float:
        return names + (degrees - low) / max(high - low, 1e-6) * (wide - 20)

    at = 12.0
    for ink, legend in ((_FREE, "free"), (_TRIMMED, "free when trimmed"), (_SHORT, "stopped")):
        draw.rectangle((at, 14, at + 26, 32), fill=ink, outline=_INK)
        draw.text((at + 34, 23), legend, font=font_px(size), fill=_INK, anchor="lm")
        at += 60 + font_px(size).getlength(legend)
    for tick in range(0, int(high) + 1, 30):
        draw.line([(x(tick), head - 12), (x(tick), sheet.height - 10)], fill=(214, 212, 208))
        draw.text((x(tick), head - 24), f"{tick}°", font=font_px(14), fill=_INK, anchor="mm")
    for number, bar in enumerate(bars):
        top = head + row * number
        middle = top + row / 2
        write_with_halo(draw, (12, middle), bar.name, size_px=size, ink=_INK)
        ends = (bar.rest_deg, bar.free_deg, max(bar.trimmed_deg, bar.free_deg), bar.wanted_deg)
        for (start, end), ink in zip(pairwise(ends), (_FREE, _TRIMMED, _SHORT), strict=True):
            if end > start:
                draw.rectangle((x(start), top + 6, x(end), top + row - 6), fill=ink)
        if bar.free_deg < bar.wanted_deg:
            draw.line([(x(bar.free_deg), top + 2), (x(bar.free_deg), top + row - 2)],
                      fill=_INK, width=3)  # fmt: skip
        draw.text((names + wide, middle), bar.words, font=font_px(size), fill=_INK, anchor="lm")
    buffer = io.BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()
