"""One way to cut a patch, what it costs and what it buys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import PatchDesign

__all__ = ["CutChoice", "relief_limit"]

# Glued foam springs back: it is cut until it has to give no more than this (common practice).
_FOAM_STRAIN = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class CutChoice:
    """One way to cut a patch, and what it costs and buys.

    Attributes
    ----------
    kind
        ``one piece``; ``cuts`` from the edge inwards; ``split`` right through, into two patches.
    strain
        Largest strain either way, growing and shrinking balanced.
    anneals
        Rests for annealing between rounds of forming; None for sheet that is not annealed.
    length_mm
        Of all cuts, on the form.
    overlap_mm2
        Area on which the flat piece would lie over itself; a choice that has any cannot be cut.
    lines_mm
        Per cut (N, 3) float mm on the form, from the edge to the tip.
    laid_mm
        Per piece its outline on the flat, (N, 2) float mm.
    """

    kind: Literal["one piece", "cuts", "split"]
    strain: float
    anneals: int | None
    length_mm: float
    overlap_mm2: float
    lines_mm: tuple[Floats, ...]
    laid_mm: tuple[Floats, ...]

    def __post_init__(self) -> None:
        lines = tuple(frozen_floats(line, (None, 3), "lines_mm") for line in self.lines_mm)
        laid = tuple(frozen_floats(piece, (None, 2), "laid_mm") for piece in self.laid_mm)
        object.__setattr__(self, "lines_mm", lines)
        object.__setattr__(self, "laid_mm", laid)

    @property
    def name(self) -> str:
        """Return it as a maker says it: ``"3 cuts"``."""
        if self.kind != "cuts":
            return "one piece" if self.kind == "one piece" else "split in two"
        return "1 cut" if len(self.lines_mm) == 1 else f"{len(self.lines_mm)} cuts"

    def in_words(self) -> str:
        """Return name, strain and anneals: ``"one piece: 11.0 %, 2 anneals"``."""
        words = f"{self.name}: {100.0 * self.strain:.1f} %"
        if self.anneals:
            words += f", {self.anneals} anneal{'s' * (self.anneals > 1)}"
        return words

    def as_dict(self) -> dict[str, str | float | int | None]:
        """Return what a program wants to know, without the geometry."""
        return {
            "choice": self.name,
            "strain": self.strain,
            "anneals": self.anneals,
            "cuts_mm": self.length_mm,
            "overlap_mm2": self.overlap_mm2,
        }


def relief_limit(design: PatchDesign) -> float:
    """Return the strain to which a patch is to be cut: the maker's, else what its sheet bears.

    Metal takes what one round of forming may put in before it has to be annealed, card its 1 %,
    foam 5 %, leather the smaller of what it stretches and shrinks.
    """
    if design.cut_to is not None:
        return design.cut_to
    material = sheet_material_named(design.material)
    if material.pass_limit is not None:
        return float(np.expm1(material.pass_limit))
    if material.name == "foam":
        return _FOAM_STRAIN
    return min(
        material.stretch_limit,
        material.shrink_limit,
        material.stretch_across_limit,
        material.shrink_across_limit,
    )
