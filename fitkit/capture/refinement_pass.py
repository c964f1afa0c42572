"""One pass of refinement: the moves it tries along the normal, and which of them it believes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitkit.geometry.arrays import Floats

__all__ = ["SOME_CERTAINTY", "RefinementPass", "best_moves"]

SOME_CERTAINTY = 0.1
"""Certainty of a place below which its patterns say nothing."""

# Correlation that patches of unrelated pattern reach by chance.
_CHANCE = 0.3


@dataclass(frozen=True, slots=True)
class RefinementPass:
    """How one pass searches.

    Attributes
    ----------
    reach_mm, step_mm
        Farthest move along the normal, both ways, and the distance between moves tried.
    spacing_mm, half_n
        Patch: distance between samples, and samples from the middle to the edge.
    stiffness
        Weight of the smoothness of the moves against a fully certain place.
    averaging
        Rounds in which the likeness is averaged with the neighbours'.
    scale
        Size of the subject's detail against that of a body: what counts as clear of the
        surface shrinks with it, and the sharpest bend grows.
    """

    reach_mm: float
    step_mm: float
    spacing_mm: float
    half_n: int
    stiffness: float = 0.5
    averaging: int = 2
    scale: float = 1.0

    def scaled(self, factor: float) -> RefinementPass:
        """Return the pass for a subject whose detail is that much finer."""
        return replace(
            self,
            reach_mm=factor * self.reach_mm,
            step_mm=factor * self.step_mm,
            spacing_mm=factor * self.spacing_mm,
            scale=factor * self.scale,
        )

    def moves_mm(self) -> Floats:
        """(O,) float mm: the moves tried."""
        last = self.reach_mm + 0.5 * self.step_mm
        moves: Floats = np.arange(-self.reach_mm, last, self.step_mm, dtype=np.float64)
        return moves


def best_moves(likeness: Floats, moves: Floats) -> tuple[Floats, Floats]:
    """Return the move of greatest likeness, by a parabola, and how much to believe it.

    Parameters
    ----------
    likeness
        (V, O) float: of each vertex at each move.
    moves
        (O,) float mm, evenly spaced.

    Returns
    -------
    Floats
        (V,) float mm.
    Floats
        (V,) float, 0 to 4: 0 where the best move is the farthest tried, or no better than chance.
    """
    every = np.arange(len(likeness))
    best = likeness.argmax(axis=1)
    peak = likeness[every, best]
    inner = np.clip(best, 1, len(moves) - 2)
    before, at, after = (likeness[every, inner + k] for k in (-1, 0, 1))
    curve = before - 2.0 * at + after
    flat = np.abs(curve) < 1e-9
    part = np.where(flat, 0.0, 0.5 * (before - after) / np.where(flat, 1.0, curve))
    step = moves[1] - moves[0]
    offset = moves[inner] + np.clip(part, -1.0, 1.0) * step
    above_rest = np.clip(peak - np.median(likeness, axis=1), 0.0, 1.0)
    certainty = 4.0 * np.clip(peak - _CHANCE, 0.0, 1.0) * above_rest
    certainty[best != inner] = 0.0
    return offset, certainty
