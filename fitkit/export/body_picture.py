"""Shaded pictures of a body or form with tape lines drawn over it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitkit.errors import InputError, ShapeError
from fitkit.export.body_shading import GROUND_RGB, BodyView, LitBody, view_of
from fitkit.export.lettering import font_px, spread_apart, write_with_halo
from fitkit.export.side_by_side import png_side_by_side
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["PATCH_INKS", "VIEWS", "png_of_body"]

VIEWS: dict[str, float] = {
    "front": 0.0,
    "front left": 0.25 * np.pi,
    "left": 0.5 * np.pi,
    "back left": 0.75 * np.pi,
    "back": np.pi,
    "back right": 1.25 * np.pi,
    "right": 1.5 * np.pi,
    "front right": 1.75 * np.pi,
}
"""Where one stands to look, as a turn from the wearer's front towards the wearer's left."""

# Every view renders this many times finer in each direction, then is averaged.
_FINER = 2
# A line is this part of the height thick; thinner, it is lost where a page shows it small and grey.
_LINES_IN_HEIGHT = 220.0
# Nor is it thinner than this part of a letter.
_LINES_IN_LETTER = 5.0
# A number is written where at least this share of its places is in sight.
_SEEN_SHARE = 0.2
# Okabe and Ito's palette for all kinds of colour vision (Color Universal Design, 2008), without
# black; dark enough for lines on a light body.
_LINE_INKS = (
    (0, 114, 178),
    (213, 94, 0),
    (0, 120, 88),
    (170, 70, 130),
    (120, 85, 0),
    (20, 100, 150),
)
PATCH_INKS = (
    (86, 180, 233),
    (230, 159, 0),
    (80, 190, 150),
    (240, 228, 66),
    (204, 121, 167),
    (150, 150, 210),
    (213, 130, 80),
)
"""Colours of patches, taken in turn."""


def png_of_body(
    mesh: TriangleMesh,
    *,
    paths: Sequence[tuple[str, Floats]] = (),
    face_values: NDArray[Any] | None = None,
    views: Sequence[str] = ("front", "left", "back"),
    height_px: int = 900,
    value_unit: str = "",
    numbers: Sequence[tuple[str, Floats]] = (),
    pieces: Ints | None = None,
    letters_px: int | None = None,
) -> bytes:
    """Return views of a body side by side, lines over it, names beside them.

    Parameters
    ----------
    mesh
        The body or form, z up, facing -y.
    paths
        Name and (N, 3) float mm of each line; a closed one repeats its first point. What lies
        behind the body is left out. Lines of one name are named once in each view.
    face_values
        (F,) int: a patch number per face, -1 for none; or (F,) float: a value per face, NaN for
        none, coloured by the cividis map with a scale beside it.
    views
        Names from :data:`VIEWS`.
    height_px
        Height of the body's part of the picture.
    value_unit
        Unit written at the colour scale.
    numbers
        Words and (N, 3) float mm places all over what they mean; they are written amid those
        places that can be seen, in each view in which enough can be.
    pieces
        (V,) int: which of several pieces each vertex is of, so that none lies in another's
        hollows.
    letters_px
        Size of its letters, where a page will show it small and perhaps in grey: lines are thicker
        and darker then. To suit the height when not told.

    Raises
    ------
    InputError
        For an unknown view, or none at all.
    ShapeError
        When there is not one value for each face.

    References
    ----------
    J. R. Nuñez, C. R. Anderton, R. S. Renslow, *Optimizing colormaps with consideration for
    color vision deficiency*, PLoS ONE 13(7), 2018, doi:10.1371/journal.pone.0199239 (cividis).
    """
    if not views:
        raise InputError("No view was asked for.", f"Choose from {', '.join(VIEWS)}.")
    for view in views:
        if view not in VIEWS:
            raise InputError(f"There is no view '{view}'.", f"Choose from {', '.join(VIEWS)}.")
    if face_values is not None and np.shape(face_values) != (len(mesh.faces),):
        raise ShapeError(
            f"face_values has shape {np.shape(face_values)}, the mesh {len(mesh.faces)} faces.",
            "Give one value for each face.",
        )
    body = LitBody(mesh, pieces=pieces)
    face_inks = _face_inks(face_values)
    names = dict.fromkeys(name for name, _ in paths)
    inks = {name: _LINE_INKS[i % len(_LINE_INKS)] for i, name in enumerate(names)}
    if letters_px is not None:
        inks = {name: (r // 2, g // 2, b // 2) for name, (r, g, b) in inks.items()}
    low_z, high_z = mesh.bounds_mm()[:, 2]
    px_per_mm = height_px / max(float(high_z - low_z) * 1.04, 1e-6)
    letters = letters_px or max(13, height_px // 60)
    panels = [
        _panel(mesh, body, face_inks, paths, inks, numbers, name, px_per_mm, letters, i == 0)
        for i, name in enumerate(views)
    ]
    if face_values is not None and np.issubdtype(np.asarray(face_values).dtype, np.floating):
        panels.append(_colour_scale(np.asarray(face_values), panels[0].height, value_unit))
    return png_side_by_side(panels)


def _face_inks(face_values: NDArray[Any] | None) -> Floats | None:
    """(F, 3) float 0..255 per face; NaN where the body's own colour stays."""
    if face_values is None:
        return None
    values = np.asarray(face_values)
    inks = np.full((len(values), 3), np.nan)
    if np.issubdtype(values.dtype, np.floating):
        from matplotlib import colormaps

        known = np.isfinite(values)
        low, high = _value_range(values)
        inks[known] = 255.0 * colormaps["cividis"]((values[known] - low) / (high - low))[:, :3]
    else:
        known = values >= 0
        inks[known] = np.array(PATCH_INKS, dtype=float)[values[known] % len(PATCH_INKS)]
    return inks


def _value_range(values: NDArray[Any]) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    if len(known) == 0:
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    return (low, high) if high > low else (low - 0.5, low + 0.5)


def _panel(
    mesh: TriangleMesh,
    body: LitBody,
    face_inks: Floats | None,
    paths: Sequence[tuple[str, Floats]],
    inks: dict[str, tuple[int, int, int]],
    numbers: Sequence[tuple[str, Floats]],
    name: str,
    px_per_mm: float,
    size: int,
    scale_bar: bool,
) -> Any:
    """One view with its lines, names, scale bar and title, as a Pillow image."""
    from PIL import Image, ImageDraw

    view = view_of(mesh, VIEWS[name], px_per_mm)
    fine = view_of(mesh, VIEWS[name], px_per_mm * _FINER)
    picture = body.shaded(fine, face_inks).resize(
        (view.width_px, view.height_px), Image.Resampling.BOX
    )
    in_view = [
        (line, [(float(x), float(y)) for x, y in run])
        for line, points in paths
        for run in body.runs_in_sight(np.asarray(points, dtype=np.float64), view)
    ]
    seen: dict[str, list[tuple[float, float]]] = {}
    for line, run in in_view:
        seen.setdefault(line, []).extend(run)
    # A name stands on the side its line is on, so that what points at it crosses little.
    lefts = {n for n, run in seen.items() if max(x for x, _ in run) < 0.5 * view.width_px}
    label_px = max((int(font_px(size).getlength(n)) for n, _ in paths), default=0)
    side = label_px + 34 if seen.keys() - lefts else 16
    before = label_px + 34 if lefts else 12
    head = 2 * size + 10
    foot = 3 * size
    panel = Image.new(
        "RGB",
        (view.width_px + side + before, view.height_px + head + foot),
        GROUND_RGB,
    )
    panel.paste(picture, (before, head))
    lines = Image.new("RGBA", (panel.width * _FINER, panel.height * _FINER), (0, 0, 0, 0))
    pen = ImageDraw.Draw(lines)
    width = max(2.0, view.height_px / _LINES_IN_HEIGHT, size / _LINES_IN_LETTER) * _FINER
    for halo in (True, False):
        for line, run in in_view:
            scaled = [((x + before) * _FINER, (y + head) * _FINER) for x, y in run]
            ink = (255, 255, 255, 230) if halo else (*inks[line], 255)
            pen.line(scaled, fill=ink, width=round(width * (2.0 if halo else 1.0)), joint="curve")
    lines = lines.resize(panel.size, Image.Resampling.BOX)
    panel.paste(lines, (0, 0), lines)
    draw = ImageDraw.Draw(panel)
    for way, column, names in (
        (1, before + view.width_px + 20, seen.keys() - lefts),
        (-1, before - 20, lefts),
    ):
        ends = [(line, _pointed_at(run, way)) for line, run in seen.items() if line in names]
        heights = spread_apart(
            [y + head for _, (_, y) in ends],
            pitch=1.35 * size,
            low=head + size,
            high=panel.height - foot - size,
        )
        for (line, (x, y)), at_y in zip(ends, heights, strict=True):
            start = x + before + 2 * way, y + head
            to = [(column - 8 * way, at_y), (column - 3 * way, at_y)]
            draw.line([start, *to], fill=inks[line], width=2)
            anchor = "lm" if way > 0 else "rm"
            write_with_halo(draw, (column, at_y), line, size_px=size, ink=inks[line], anchor=anchor)
    for number, places in numbers:
        at = _amid_seen(body, places, view)
        if at is not None:
            write_with_halo(
                draw, (at[0] + before, at[1] + head), number, size_px=round(1.2 * size), anchor="mm"
            )
    title = name if name in ("front", "back") else f"{name} (wearer's)"
    draw.text((12, 6), title, font=font_px(round(1.3 * size)), fill=(40, 40, 40))
    if scale_bar:
        _scale_bar(draw, view, panel.height - foot, size)
    return panel


def _amid_seen(body: LitBody, places: Floats, view: BodyView) -> tuple[float, float] | None:
    """Return a place in the middle of those in sight, None where too few are."""
    seen = places[body.in_sight(places, view)]
    if len(seen) < max(_SEEN_SHARE * len(places), 1):
        return None
    flat = view.pixels(seen)
    x, y = flat[int(np.linalg.norm(flat - flat.mean(axis=0), axis=1).argmin())]
    return float(x), float(y)


def _pointed_at(points_px: list[tuple[float, float]], way: int) -> tuple[float, float]:
    """Return where a line's name points: far right (1) or left (-1), amid what is about as far."""
    far = max(way * x for x, _ in points_px)
    candidates = sorted((y, x) for x, y in points_px if way * x > far - 4.0)
    y, x = candidates[len(candidates) // 2]
    return x, y


def _scale_bar(draw: Any, view: BodyView, top: float, size: int) -> None:
    """Draw a bar of a round length, about a quarter of the picture wide at most."""
    room = max(0.3 * view.width_px / view.px_per_mm, 10.0)
    length = max(step for step in (10, 20, 50, 100, 200, 500) if step <= room)
    x0, y = 14.0, top + 0.7 * size
    x1 = x0 + length * view.px_per_mm
    draw.line([(x0, y), (x1, y)], fill=(40, 40, 40), width=2)
    for x in (x0, x1):
        draw.line([(x, y - 5), (x, y + 5)], fill=(40, 40, 40), width=2)
    draw.text((x0, y + 8), f"{length} mm", font=font_px(size), fill=(40, 40, 40))


def _colour_scale(values: NDArray[Any], height: int, unit: str) -> Any:
    """Return the cividis scale with five numbers as a Pillow image."""
    from matplotlib import colormaps
    from PIL import Image, ImageDraw

    low, high = _value_range(values)
    panel = Image.new("RGB", (130, height), GROUND_RGB)
    bar_top, bar_low = height // 4, 3 * height // 4
    ramp = colormaps["cividis"](np.linspace(1.0, 0.0, bar_low - bar_top))[:, None, :3]
    bar = np.repeat(np.round(255 * ramp).astype(np.uint8), 22, axis=1)
    panel.paste(Image.fromarray(bar), (10, bar_top))
    draw = ImageDraw.Draw(panel)
    size = max(13, height // 70)
    for part in np.linspace(0.0, 1.0, 5):
        y = bar_low - part * (bar_low - bar_top)
        draw.line([(32, y), (38, y)], fill=(40, 40, 40))
        text = f"{low + part * (high - low):.3g} {unit}".strip()
        draw.text((42, y), text, font=font_px(size), fill=(40, 40, 40), anchor="lm")
    return panel
