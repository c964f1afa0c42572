"""The template: the printable flat drawing of one part."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.body.side import Side
from fitkit.drawing.drawing import Drawing
from fitkit.findings import Finding
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.holding.fixing import Fixing

__all__ = ["Template", "part_title"]


def part_title(name: str, side: Side) -> str:
    """Return a part's name with its side, as a maker says it: ``"shoulder cap, left"``."""
    return name if side is Side.CENTRE else f"{name}, {side}"


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """One part to cut, drawn from the plate's outside.

    Attributes
    ----------
    number
        Part number, 1 and up, unique in the job.
    name, side
        As on the drawing; the side is the wearer's.
    drawing
        Millimetres, the outline's lower left at the origin, the wearer's up as near +y as the
        part's own way up allows.
    outline_mm
        (N, 2) float mm, counter-clockwise: where to cut, allowances included.
    material, thickness_mm
        What to cut it from.
    stretch_range
        Smallest and largest principal stretch over the part.
    findings
        What was noticed.
    revision
        As on the drawing.
    fastened
        What straps and fasteners want drilled in it, in words.
    fastened_by
        ``(what, fixing)``: what goes through it there.
    """

    number: int
    name: str
    side: Side
    drawing: Drawing
    outline_mm: Floats
    material: str
    thickness_mm: float
    stretch_range: tuple[float, float]
    findings: tuple[Finding, ...] = ()
    revision: str = ""
    fastened: tuple[str, ...] = ()
    fastened_by: tuple[tuple[str, Fixing], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "outline_mm", frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        )

    @property
    def title(self) -> str:
        """Name with side; see :func:`part_title`."""
        return part_title(self.name, self.side)
