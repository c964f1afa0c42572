"""The choices of relief cuts for one patch, side by side at one scale."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np

from fitkit.flatten.cut_choice import CutChoice
from fitkit.geometry.arrays import Floats

__all__ = ["png_of_cut_choices"]

_GAP_SHARE = 0.06
_DPI = 100.0


def png_of_cut_choices(
    name: str, choices: Sequence[CutChoice], limit: float, *, panel_px: int = 420
) -> bytes:
    """Return the flat outlines of every choice with its numbers, as one PNG.

    Parameters
    ----------
    limit
        Strain that the sheet bears; a choice within it is shaded darker and ticked.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    laid = [_side_by_side(choice.laid_mm) for choice in choices]
    boxes = [np.stack([np.vstack(p).min(axis=0), np.vstack(p).max(axis=0)]) for p in laid]
    reach = np.max([box[1] - box[0] for box in boxes], axis=0)
    head_px = 108.0
    body_px = float(np.clip(panel_px * reach[1] / reach[0], 0.6 * panel_px, 1.5 * panel_px))
    width_px, height_px = panel_px * len(choices), body_px + head_px + 46.0
    figure = Figure(figsize=(width_px / _DPI, height_px / _DPI), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    half = 0.5 * reach * (1.0 + 2.0 * _GAP_SHARE)
    for index, (choice, pieces, box) in enumerate(zip(choices, laid, boxes, strict=True)):
        axes = figure.add_axes((index / len(choices), 0.0, 1.0 / len(choices), body_px / height_px))
        axes.set_aspect("equal")
        axes.set_axis_off()
        middle = box.mean(axis=0)
        axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
        axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
        within = choice.strain <= limit
        for piece in pieces:
            axes.fill(*piece.T, facecolor="0.72" if within else "0.93", edgecolor="black", lw=1.4)
        x = (index + 0.05) / len(choices)
        for row, (text, size) in enumerate(_words(index + 1, choice, within)):
            y = 1.0 - (70.0 + 27.0 * row) / height_px
            figure.text(x, y, text, fontsize=size, va="center")
    title = f"{name}: what each cut buys (the sheet bears {100.0 * limit:.3g} %)"
    figure.text(0.05 / len(choices), 1.0 - 26.0 / height_px, title, fontsize=14, va="center")
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=_DPI, metadata={"Software": None})
    return buffer.getvalue()


def _words(number: int, choice: CutChoice, within: bool) -> list[tuple[str, int]]:
    enough = "within it" if within else "too much"
    lines = [
        (f"choice {number}: {choice.name}", 14),
        (f"has to give {100.0 * choice.strain:.1f} %: {enough}", 11),
    ]
    more = [f"{choice.length_mm:.0f} mm of cuts"] if choice.length_mm else []
    if choice.anneals:
        more.append(f"{choice.anneals} anneal{'s' * (choice.anneals > 1)}")
    return [*lines, (", ".join(more), 11)] if more else lines


def _side_by_side(pieces: Sequence[Floats]) -> list[Floats]:
    """Return outlines moved apart from left to right, with a gap between."""
    moved: list[Floats] = []
    right = 0.0
    for piece in pieces:
        low, high = piece.min(axis=0), piece.max(axis=0)
        gap = _GAP_SHARE * float((high - low).max()) if moved else 0.0
        moved.append(piece - np.array([low[0] - right - gap, 0.5 * (low[1] + high[1])]))
        right += gap + float(high[0] - low[0])
    return moved
