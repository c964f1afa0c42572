"""A reshaped body over the one it was made from: where it grew, where it shrank, by how much."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fitkit.errors import InputError, ShapeError
from fitkit.export.body_picture import VIEWS
from fitkit.export.body_shading import GROUND_RGB, BodyView, LitBody, view_of
from fitkit.export.lettering import font_px
from fitkit.export.side_by_side import png_side_by_side
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["png_of_change"]

_MAP = "PuOr_r"
_FINER = 2
_LEAST_REACH_MM = 5.0
_STEPS_MM = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_OUTLINE_RGB = (20, 60, 120)
_DASH_PX, _GAP_PX = 9.0, 6.0
_INK = (40, 40, 40)


def png_of_change(
    before: TriangleMesh,
    after: TriangleMesh,
    distance_mm: Floats,
    *,
    views: Sequence[str] = ("front", "left", "back"),
    height_px: int = 800,
) -> bytes:
    """Return views of the body after, coloured by its distance from the body before.

    Orange where it grew outwards, purple where it shrank; the outline of the body before is
    drawn over it, dashed.

    Parameters
    ----------
    before, after
        Meshes with the same faces.
    distance_mm
        (V,) float mm: how far the surface went along its normal.
    views
        Names from :data:`fitkit.export.body_picture.VIEWS`.

    Raises
    ------
    InputError
        For an unknown view.
    ShapeError
        When there is not one distance for each vertex.
    """
    for name in views:
        if name not in VIEWS:
            raise InputError(f"There is no view '{name}'.", f"Choose from {', '.join(VIEWS)}.")
    if np.shape(distance_mm) != (len(after.vertices),):
        raise ShapeError(
            f"distance_mm has shape {np.shape(distance_mm)}, the mesh {len(after.vertices)} "
            "vertices.",
            "Give one distance for each vertex.",
        )
    reach = _round_up(float(np.abs(distance_mm).max(initial=0.0)))
    inks = _inks(distance_mm[after.faces].mean(axis=1), reach)
    joined = TriangleMesh(np.vstack([before.vertices, after.vertices]), after.faces)
    low, high = joined.bounds_mm()[:, 2]
    px_per_mm = height_px / (1.04 * float(high - low))
    lit = LitBody(after)
    panels = [_panel(lit, before, joined, inks, name, px_per_mm) for name in views]
    panels.append(_scale(reach, panels[0].height))
    return png_side_by_side(panels)


def _round_up(reach_mm: float) -> float:
    """Return the end of the scale: the next round number of millimetres."""
    reach = max(reach_mm, _LEAST_REACH_MM)
    return 5.0 * float(np.ceil(reach / 5.0 - 1e-9))


def _inks(values_mm: Floats, reach_mm: float) -> Floats:
    """(..., 3) float 0..255: the ink of each distance, light grey for none."""
    from matplotlib import colormaps

    share = 0.5 + 0.5 * np.clip(values_mm / reach_mm, -1.0, 1.0)
    inks: Floats = 255.0 * colormaps[_MAP](share)[..., :3]
    return inks


def _panel(
    lit: LitBody,
    before: TriangleMesh,
    joined: TriangleMesh,
    inks: Floats,
    name: str,
    px_per_mm: float,
) -> Any:
    from PIL import Image, ImageDraw

    view = view_of(joined, VIEWS[name], px_per_mm)
    fine = view_of(joined, VIEWS[name], px_per_mm * _FINER)
    picture = lit.shaded(fine, inks).resize(
        (view.width_px, view.height_px), Image.Resampling.LANCZOS
    )
    size = max(13, view.height_px // 55)
    head = 2 * size + 10
    panel = Image.new("RGB", (view.width_px + 16, view.height_px + head + 8), GROUND_RGB)
    panel.paste(picture, (8, head))
    over = Image.new("RGBA", (panel.width * _FINER, panel.height * _FINER), (0, 0, 0, 0))
    pen = ImageDraw.Draw(over)
    for ring in _outlines(before, view):
        for dash in _dashes(ring):
            points = [((x + 8) * _FINER, (y + head) * _FINER) for x, y in dash.tolist()]
            pen.line(points, fill=(255, 255, 255, 200), width=4 * _FINER)
            pen.line(points, fill=(*_OUTLINE_RGB, 255), width=2 * _FINER)
    over = over.resize(panel.size, Image.Resampling.LANCZOS)
    panel.paste(over, (0, 0), over)
    title = name if name in ("front", "back") else f"{name} (wearer's)"
    ImageDraw.Draw(panel).text(
        (8, head // 2), title, font=font_px(size + 2), fill=_INK, anchor="lm"
    )
    return panel


def _outlines(mesh: TriangleMesh, view: BodyView) -> list[Floats]:
    """Return the rings (N, 2) px that bound the body's shadow in a view."""
    from PIL import Image, ImageDraw
    from skimage import measure

    find_contours: Any = measure.find_contours
    shadow = Image.new("L", (view.width_px, view.height_px), 0)
    pen = ImageDraw.Draw(shadow)
    corners = view.pixels(mesh.vertices)[mesh.faces]
    for triangle in corners[_facing(mesh, view)].reshape(-1, 6).tolist():
        pen.polygon(triangle, fill=255)
    rings = find_contours(np.pad(np.asarray(shadow, dtype=np.float64), 1), 127.0)
    return [ring[:, ::-1] - 1.0 for ring in rings if len(ring) > 40]


def _facing(mesh: TriangleMesh, view: BodyView) -> Any:
    return mesh.face_normals_scaled() @ view.eye > 0


def _dashes(ring: Floats) -> list[Floats]:
    """Cut a polyline into dashes."""
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]
    starts = np.arange(0.0, along[-1], _DASH_PX + _GAP_PX)
    dashes = []
    for start in starts.tolist():
        at = np.linspace(start, min(start + _DASH_PX, along[-1]), 6)
        dashes.append(np.stack([np.interp(at, along, ring[:, k]) for k in range(2)], axis=1))
    return dashes


def _scale(reach_mm: float, height: int) -> Any:
    """Return the colour scale with its numbers, and what the dashes mean, as a Pillow image."""
    from PIL import Image, ImageDraw

    size = max(13, height // 62)
    font = font_px(size)
    words = ["grew", "shrank", "outline before"]
    width = 70 + int(max(font.getlength(word) for word in [*words, "+000 mm"]))
    panel = Image.new("RGB", (width, height), GROUND_RGB)
    draw = ImageDraw.Draw(panel)
    top, low = height // 4, 3 * height // 4
    ramp = _inks(np.linspace(reach_mm, -reach_mm, low - top), reach_mm)[:, np.newaxis]
    bar = np.repeat(np.round(ramp).astype(np.uint8), 22, axis=1)
    panel.paste(Image.fromarray(bar), (10, top))
    step = next((s for s in _STEPS_MM if reach_mm / s <= 5), _STEPS_MM[-1])
    count = int(reach_mm / step)
    for k in range(-count, count + 1):
        y = low - (k * step + reach_mm) / (2 * reach_mm) * (low - top)
        draw.line([(32, y), (38, y)], fill=_INK)
        text = f"{k * step:+g} mm" if k else "0 mm"
        draw.text((42, y), text, font=font, fill=_INK, anchor="lm")
    draw.text((10, top - 1.6 * size), "grew", font=font, fill=_INK, anchor="lm")
    draw.text((10, low + 1.6 * size), "shrank", font=font, fill=_INK, anchor="lm")
    y = low + 4 * size
    for x in (10, 24):
        draw.line([(x, y), (x + _DASH_PX, y)], fill=_OUTLINE_RGB, width=2)
    draw.text((42, y), "outline before", font=font, fill=_INK, anchor="lm")
    return panel
