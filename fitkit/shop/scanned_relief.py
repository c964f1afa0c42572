"""Parallel lines over a relief, cut into stretches that each lie on one face: hatching and dots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["ScannedRelief", "scanned_relief"]

# Shares of the distance between two lines: where one stretch ends and the next begins.
_MEETS = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class ScannedRelief:
    """Stretches of parallel lines, one a face that a line crosses.

    Attributes
    ----------
    way, across
        (2,) float: directions along the lines and from each to the next.
    pitch_mm
        From line to line.
    row
        (S,) int: which line.
    level_mm
        (S,) float: where it lies along ``across``.
    along_mm, height
        (S, 2) float: where a stretch begins and ends along ``way``, and the relief there.
    """

    way: Floats
    across: Floats
    pitch_mm: float
    row: Ints
    level_mm: Floats
    along_mm: Floats
    height: Floats

    def strokes_above(self, least: float) -> Floats:
        """Return the runs of the lines where the relief is at least so high, (K, 2, 2) mm."""
        begin, end = self.along_mm.T
        low, high = self.height.T
        rise = np.where(high == low, 1.0, high - low)
        cross = begin + (least - low) / rise * (end - begin)
        first = np.where(low >= least, begin, cross)
        last = np.where(high >= least, end, cross)
        kept = (low >= least) | (high >= least)
        order = np.flatnonzero(kept)[np.lexsort((first[kept], self.row[kept]))]
        if len(order) == 0:
            return np.zeros((0, 2, 2))
        row, first, last, level = self.row[order], first[order], last[order], self.level_mm[order]
        # A run goes on where a stretch begins at which one before it on its line has ended; lines
        # are laid end to end for that, so far apart that none meets the next.
        shift = row * (float(last.max() - first.min()) + self.pitch_mm)
        reach = np.maximum.accumulate(last + shift) - shift
        parted = (row[1:] != row[:-1]) | (first[1:] > reach[:-1] + _MEETS * self.pitch_mm)
        starts = np.concatenate([[0], np.flatnonzero(parted) + 1])
        ends = np.concatenate([starts[1:], [len(order)]]) - 1
        return np.stack(
            [self._placed(first[starts], level[starts]), self._placed(reach[ends], level[ends])],
            axis=1,
        )

    def places_below(self, most: float, pitch_mm: float, shift_mm: Floats) -> Floats:
        """Return places evenly apart along each line where the relief is at most so high, (D, 2).

        ``shift_mm``, (S,), tells where the places of each stretch's line start from.
        """
        begin, end = (self.along_mm - shift_mm[:, None]).T / pitch_mm
        first = np.ceil(begin)
        counts = np.maximum(np.ceil(end) - first, 0).astype(np.int64)
        stretch = np.repeat(np.arange(len(counts)), counts)
        place = (
            first[stretch] + np.arange(len(stretch)) - np.repeat(np.cumsum(counts) - counts, counts)
        )
        share = (place - begin[stretch]) / (end - begin)[stretch]
        height = self.height[stretch, 0] * (1.0 - share) + self.height[stretch, 1] * share
        kept = height <= most
        at = place * pitch_mm + shift_mm[stretch]
        placed = self._placed(at[kept], self.level_mm[stretch][kept])
        order = np.lexsort((at[kept], self.row[stretch][kept]))
        return placed[order]

    def _placed(self, along_mm: Floats, level_mm: Floats) -> Floats:
        placed: Floats = along_mm[:, None] * self.way + level_mm[:, None] * self.across
        return placed


def scanned_relief(
    relief: TriangleMesh, across: Floats, pitch_mm: float, phase: float
) -> ScannedRelief:
    """Return lines square to ``across`` over a relief whose faces do not overlap in x and y.

    Parameters
    ----------
    relief
        x and y in mm, z in whatever it tells.
    across
        (2,) float of length 1.
    phase
        Share of the pitch by which the lines are off the multiples of it.
    """
    way = np.array([across[1], -across[0]])
    place = (relief.vertices[:, :2] @ across) / pitch_mm - phase
    corners = place[relief.faces]
    # A line through a corner counts as just below it: each is crossed once or not at all.
    first = np.floor(corners.min(axis=1)).astype(np.int64) + 1
    counts = np.floor(corners.max(axis=1)).astype(np.int64) - first + 1
    face = np.repeat(np.arange(len(corners)), counts)
    row = first[face] + np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    above = corners[face] >= row[:, None]
    # The corner that is alone on its side: from it two sides cross the line.
    alone = np.argmax(above != (above.sum(axis=1) > 1)[:, None], axis=1)
    ends = []
    for step in (1, 2):
        one, other = relief.faces[face, alone], relief.faces[face, (alone + step) % 3]
        share = ((row - place[one]) / (place[other] - place[one]))[:, None]
        ends.append(relief.vertices[one] + share * (relief.vertices[other] - relief.vertices[one]))
    both = np.stack(ends, axis=1)
    along = both[:, :, :2] @ way
    order = np.argsort(along, axis=1)
    return ScannedRelief(
        way,
        across,
        pitch_mm,
        row,
        (row + phase) * pitch_mm,
        np.take_along_axis(along, order, axis=1),
        np.take_along_axis(both[:, :, 2], order, axis=1),
    )
