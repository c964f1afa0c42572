"""Which tape lines the patches of a form need on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.patch.design import PatchDesign, TapeLineDesign
from fitkit.patch.line_network import lines_below
from fitkit.patch.tape_line import TapeLine

__all__ = ["lines_for_patches"]

_MARGIN_MM = 40.0


def lines_for_patches(
    lines: Sequence[TapeLineDesign],
    patches: Sequence[PatchDesign],
    laid: Sequence[TapeLine],
    *,
    apart_mm: float,
) -> tuple[TapeLineDesign, ...]:
    """Return the lines that bound, open or may touch patches, with those that these lean on.

    Parameters
    ----------
    lines
        All of the design.
    patches
        Those that are cut from the form.
    laid
        All lines as they lie on another form.
    apart_mm
        Distance between the two forms.
    """
    if any(not patch.boundary for patch in patches):
        return tuple(lines)
    by_name = {line.name: line.path.points_mm for line in laid}
    margin = _MARGIN_MM + apart_mm
    wanted: set[str] = set()
    for patch in patches:
        named = {*patch.boundary, *patch.edges, *patch.hold, *patch.seams}
        if patch.grain is not None:
            named.add(patch.grain.along)
        bounds = [by_name[name] for name in patch.boundary if name in by_name]
        box = _box(np.vstack(bounds), margin) if bounds else None
        for line in lines:
            points = by_name.get(line.name)
            if line.name in named or points is None or (box is not None and _meets(points, box)):
                wanted |= {one.name for one in lines_below(line.name, lines)}
    return tuple(line for line in lines if line.name in wanted)


def _box(points: Floats, margin_mm: float) -> Floats:
    box: Floats = np.stack([points.min(axis=0) - margin_mm, points.max(axis=0) + margin_mm])
    return box


def _meets(points: Floats, box: Floats) -> bool:
    return bool(((points > box[0]) & (points < box[1])).all(axis=1).any())
