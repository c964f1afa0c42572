"""A short mark that changes whenever something to cut, drill or bend on a part does."""

from __future__ import annotations

import hashlib

import numpy as np

from fitkit.template.part import Part

__all__ = ["revision_of"]

# Differences below a hundredth of a millimetre are none.
_DECIMALS = 2


def revision_of(part: Part, revision: str = "") -> str:
    """Return a part's revision as on the drawing: what the job calls it, and the mark.

    Two papers of one part bear the same mark only when they are cut, drilled and bent alike, so
    that an old print is told from the present one.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> revision_of(Part(square, square, ()), "B")
    'B-39B0'
    """
    told = hashlib.sha256()
    lines = [part.cut_mm, *(fold.points_mm for fold in part.folds)]
    lines += [np.r_[hole.centre_mm, hole.diameter_mm] for hole in part.holes]
    for line in lines:
        # Adding nothing makes a negative nothing a plain one.
        told.update((np.round(line, _DECIMALS) + 0.0).tobytes())
    mark = told.hexdigest()[:4].upper()
    return f"{revision}-{mark}" if revision else mark
