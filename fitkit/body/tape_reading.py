"""One reading of the tape on a body."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitkit.body.taut_round import TautRound
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.surface_path import SurfacePath

__all__ = ["TapeMeasure", "girth_reading"]


@dataclass(frozen=True, slots=True, eq=False)
class TapeMeasure:
    """One measure of the body.

    Attributes
    ----------
    name
        ``"chest"``, ``"left upper arm"``, ``"waist height"``, ...
    kind
        ``"girth"`` round a part, ``"length"`` over the surface, ``"height"`` above the floor,
        ``"breadth"`` straight across.
    length_mm
        What the tape reads.
    round
        For a girth, the section of the surface it goes round; for a length its way over the
        surface.
    tape_mm
        (N, 3) float mm: for a girth the taut tape, a closed polygon that bridges hollows; for
        a length its way; for the others the two ends.
    where
        In words, how and at what level it was taken.
    """

    name: str
    kind: Literal["girth", "length", "height", "breadth"]
    length_mm: float
    round: SurfacePath | None
    tape_mm: Floats
    where: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "tape_mm", frozen_floats(self.tape_mm, (None, 3), "tape_mm"))


def girth_reading(name: str, one: TautRound, where: str) -> TapeMeasure:
    """Return the reading of a tape pulled taut round a part."""
    return TapeMeasure(name, "girth", one.girth_mm, one.path, one.tape_mm, where)
