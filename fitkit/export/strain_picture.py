"""Where the sheet must stretch or shrink, as a picture of the flat patch."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import shapely

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.sheet_demand import sheet_demand
from fitkit.flatten.stretch import (
    area_strain,
    at_flat_vertices,
    governing_strain,
    strain_contour_levels,
)
from fitkit.geometry.arrays import Bools, Floats, Ints

__all__ = ["png_of_strain", "strain_reach"]

_LEAST_RANGE_PERCENT = 0.5
# Below this the direction of a face's stretch is noise.
_LEAST_ARROW_PERCENT = 0.1
_ARROWS_ACROSS = 11
# The lesser of a face's two strains gets an arrow from this share of the greater on.
_SECOND_ARROW = 0.3
_FORMING = {
    "roll": "roll",
    "dish": "dish",
    "raise": "raise",
    "balanced": "dish and raise",
    "soft": "ease on",
}


def strain_reach(percent: Floats) -> float:
    """Return up to how many per cent either way the colours run."""
    return max(float(np.abs(percent).max(initial=0.0)), _LEAST_RANGE_PERCENT)


def png_of_strain(flat: FlatPatch, *, width_px: int = 1100) -> bytes:
    """Return the flat patch coloured by how much area the sheet must gain or lose.

    Orange areas must gain, purple ones lose; unbroken contours are gain, broken ones loss, each
    with its per cent, so that the picture also reads in black and white. Arrows run along the
    principal strains: outwards for stretch, inwards for shrink, as long as the strain is large.

    References
    ----------
    M. Harrower, C. A. Brewer, *ColorBrewer.org: An Online Tool for Selecting Colour Schemes
    for Maps*, The Cartographic Journal 40(1), 2003, doi:10.1179/000870403235002042 (the
    diverging scheme PuOr, safe for colour-blind readers).
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize
    from matplotlib.figure import Figure
    from matplotlib.tri import Triangulation

    percent = 100.0 * area_strain(flat.stretch)
    governing = 100.0 * governing_strain(flat.stretch)
    low, high = flat.flat_mm.min(axis=0), flat.flat_mm.max(axis=0)
    span = np.maximum(high - low, 1.0)
    # room below for the words; the patch fills the rest in true proportions
    plot_width = 0.84 * width_px
    plot_height = float(np.clip(plot_width * span[1] / span[0], 0.35 * width_px, 1.25 * width_px))
    words_px, head_px = 175.0, 58.0
    height_px = plot_height + words_px + head_px
    dpi = 100.0
    figure = Figure(figsize=(width_px / dpi, height_px / dpi), dpi=dpi, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.02, words_px / height_px, 0.84, plot_height / height_px))
    axes.set_aspect("equal")
    axes.set_axis_off()
    rim = 0.03 * float(span.max())
    axes.set_xlim(low[0] - rim, high[0] + rim)
    axes.set_ylim(low[1] - rim, high[1] + rim)

    reach = strain_reach(percent)
    scale = Normalize(-reach, reach)
    at_vertices = at_flat_vertices(percent, flat.flat_mm, flat.faces)
    triangles = Triangulation(flat.flat_mm[:, 0], flat.flat_mm[:, 1], flat.faces)
    axes.tripcolor(triangles, at_vertices, shading="gouraud", cmap="PuOr_r", norm=scale)
    _draw_contours(axes, triangles, at_vertices)
    _draw_arrows(axes, flat, governing)
    outline = np.concatenate([edge.points_mm for edge in flat.outline])
    axes.plot(*np.vstack([outline, outline[:1]]).T, color="black", lw=1.8)
    for line in flat.inner_lines:
        axes.plot(*line.points_mm.T, color="0.25", lw=0.9, ls=(0, (6, 3)))
    worst = int(np.argmax(np.abs(governing))) if len(governing) else 0
    _mark_worst(axes, flat, worst)

    bar = figure.add_axes(
        (0.885, words_px / height_px + 0.06, 0.022, 0.8 * plot_height / height_px)
    )
    figure.colorbar(ScalarMappable(scale, "PuOr_r"), cax=bar)
    bar.yaxis.set_major_formatter(lambda value, _: f"{value:+.3g} %" if value else "0")
    bar.tick_params(labelsize=9)
    design = flat.design
    side = "" if design.side == "centre" else f", {design.side}"
    figure.text(
        0.02, 1 - 0.62 * head_px / height_px, f"{design.name}{side}", fontsize=16, va="center"
    )
    for i, text in enumerate(_in_words(flat, worst)):
        figure.text(0.02, (words_px - 34 - 25 * i) / height_px, text, fontsize=11, va="center")
    _scale_bar(figure, axes, flat, height_px)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
    return buffer.getvalue()


def _in_words(flat: FlatPatch, worst: int) -> list[str]:
    percent = 100.0 * area_strain(flat.stretch)
    governing = 100.0 * governing_strain(flat.stretch)
    if np.abs(governing).max(initial=0.0) < 0.05:
        return ["The patch lies flat: nowhere does the sheet stretch or shrink by 0.05 %."]
    gain, loss = float(percent.max(initial=0.0)), float(percent.min(initial=0.0))
    lines = []
    if gain >= 0.05:
        lines.append(
            f"Orange, unbroken contours: the sheet must gain area, up to {gain:.1f} % "
            "(thin it, work outwards)."
        )
    if loss <= -0.05:
        lines.append(
            f"Purple, broken contours: the sheet must lose area, up to {-loss:.1f} % "
            "(gather it, or cut relief)."
        )
    kind = "stretch" if governing[worst] > 0 else "shrink"
    lines.append(
        f"Ring: worst spot, {kind} {abs(governing[worst]):.1f} %. "
        "Arrows along the strains: outwards stretch, inwards shrink."
    )
    return [*lines, _forming_in_words(flat)]


def _forming_in_words(flat: FlatPatch) -> str:
    demand = sheet_demand(flat)
    cut = 100.0 * (demand.size - 1.0)
    size = f"blank {abs(cut):.1f} % {'smaller' if cut < 0 else 'larger'} than the plate"
    words = f"To {_FORMING[demand.forming]}: {size if abs(cut) >= 0.05 else 'blank as large'}, "
    words += f"{demand.thinnest_mm:.2f} of {flat.design.thickness_mm:g} mm left at its thinnest"
    if demand.anneals is not None:
        times = {0: "no anneal", 1: "1 anneal"}.get(demand.anneals, f"{demand.anneals} anneals")
        words += f", {times}"
    return words + "."


def _draw_contours(axes: Any, triangles: Any, values: Floats) -> None:
    from matplotlib.patheffects import withStroke

    levels = strain_contour_levels(float(values.min()), float(values.max()))
    levels = [v for v in levels if values.min() < v < values.max()]
    if not levels:
        return
    styles = ["solid" if v > 0 else "dashed" for v in levels]
    lines = axes.tricontour(
        triangles, values, levels=levels, colors="black", linewidths=0.8, linestyles=styles
    )
    marks = axes.clabel(lines, fmt=lambda v: f"{v:+.3g} %", fontsize=8.5, inline=True)
    for mark in marks:
        mark.set_path_effects([withStroke(linewidth=2.5, foreground="white")])


def _arrow_faces(flat: FlatPatch, percent: Floats) -> Ints:
    """(K,) int: faces nearest to the points of a square grid, one for each cell at most."""
    centres = flat.flat_mm[flat.faces].mean(axis=1)
    low, high = flat.flat_mm.min(axis=0), flat.flat_mm.max(axis=0)
    pitch = max(float((high - low).max()) / _ARROWS_ACROSS, 1e-9)
    cells = np.floor((centres - low) / pitch).astype(int)
    off = np.linalg.norm(centres - (low + (cells + 0.5) * pitch), axis=1)
    order = np.lexsort((np.arange(len(off)), off))
    _, first = np.unique(cells[order], axis=0, return_index=True)
    chosen = order[first]
    enough = (np.abs(percent[chosen]) >= _LEAST_ARROW_PERCENT) & (off[chosen] < 0.5 * pitch)
    return np.sort(chosen[enough]).astype(np.int64)


def _draw_arrows(axes: Any, flat: FlatPatch, percent: Floats) -> None:
    from matplotlib.collections import LineCollection, PolyCollection

    faces = _arrow_faces(flat, percent)
    if len(faces) == 0:
        return
    centres = flat.flat_mm[flat.faces[faces]].mean(axis=1)
    strain = 100.0 * (flat.stretch[faces] - 1.0)
    first = flat.stretch_direction[faces]
    second = np.stack([-first[:, 1], first[:, 0]], axis=1)
    low, high = flat.flat_mm.min(axis=0), flat.flat_mm.max(axis=0)
    pitch = float((high - low).max()) / _ARROWS_ACROSS
    head = 0.10 * pitch
    most = max(float(np.abs(percent).max()), 1e-9)
    least = np.maximum(_SECOND_ARROW * np.abs(strain).max(axis=1), _LEAST_ARROW_PERCENT)
    shafts, heads = [], []
    for along, size in ((first, strain[:, 0]), (second, strain[:, 1])):
        half = pitch * (0.14 + 0.22 * np.abs(size) / most)
        ends = np.concatenate([centres + sign * half[:, None] * along for sign in (1.0, -1.0)])
        inside = _within_outline(flat, ends).reshape(2, -1).all(axis=0)
        drawn = inside & (np.abs(size) >= least)
        for sign in (1.0, -1.0):
            near = centres + sign * 0.02 * pitch * along
            far = centres + sign * half[:, None] * along
            outwards = (size > 0)[:, None]
            tip, tail = np.where(outwards, far, near), np.where(outwards, near, far)
            forward = np.where(outwards, sign * along, -sign * along)
            aside = 0.4 * head * np.stack([-forward[:, 1], forward[:, 0]], axis=1)
            neck = tip - head * forward
            shafts.append(np.stack([tail, neck], axis=1)[drawn])
            heads.append(np.stack([tip, neck + aside, neck - aside], axis=1)[drawn])
    lines, tips = list(np.concatenate(shafts)), list(np.concatenate(heads))
    for width, ink, alpha in ((2.4, "white", 0.7), (0.9, "0.1", 1.0)):
        axes.add_collection(
            LineCollection(lines, colors=ink, linewidths=width, alpha=alpha, zorder=4)
        )
        axes.add_collection(
            PolyCollection(
                tips, facecolors=ink, edgecolors=ink, linewidths=width - 0.8, alpha=alpha, zorder=4
            )
        )


def _within_outline(flat: FlatPatch, points: Floats) -> Bools:
    outline = shapely.polygons(np.concatenate([edge.points_mm for edge in flat.outline]))
    if not shapely.is_valid(outline):
        outline = shapely.make_valid(outline)
    inside: Bools = shapely.contains_xy(outline, points[:, 0], points[:, 1])
    return inside


def _mark_worst(axes: Any, flat: FlatPatch, worst: int) -> None:
    if len(flat.faces) == 0:
        return
    x, y = flat.flat_mm[flat.faces[worst]].mean(axis=0)
    axes.plot([x], [y], "o", ms=15, mfc="none", mec="white", mew=4.5)
    axes.plot([x], [y], "o", ms=15, mfc="none", mec="black", mew=1.8)


def _scale_bar(figure: Any, axes: Any, flat: FlatPatch, height_px: float) -> None:
    """Draw a bar of a round length at the foot, and which way is up on the wearer."""
    figure.canvas.draw()
    (x0, _), (x1, _) = axes.transData.transform([[0.0, 0.0], [1.0, 0.0]])
    px_per_mm = float(x1 - x0)
    lengths = [v for v in (5, 10, 20, 50, 100, 200) if v * px_per_mm < 0.22 * figure.bbox.width]
    length = max(lengths, default=5)
    width = figure.bbox.width
    right = 0.97
    left = right - length * px_per_mm / width
    low = 26.0 / height_px
    from matplotlib.lines import Line2D

    figure.add_artist(Line2D([left, right], [low, low], color="black", lw=2))
    for x in (left, right):
        figure.add_artist(
            Line2D([x, x], [low - 5 / height_px, low + 5 / height_px], color="black", lw=2)
        )
    figure.text(right, low + 16 / height_px, f"{length} mm", fontsize=10, ha="right", va="center")
    up = flat.up * 26.0
    foot = np.array([0.945 * width, height_px - 46.0])
    tip = foot + up
    axes.annotate(
        "",
        xy=tuple(tip),
        xytext=tuple(foot - up * 0.2),
        xycoords="figure pixels",
        textcoords="figure pixels",
        arrowprops={"arrowstyle": "-|>", "color": "black", "lw": 1.6},
        annotation_clip=False,
    )
    figure.text(
        0.925, (height_px - 40.0) / height_px, "up on the wearer", fontsize=10, ha="right",
        va="center",
    )  # fmt: skip
