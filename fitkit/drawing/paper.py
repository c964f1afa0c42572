"""Paper sizes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fitkit.errors import InputError
from fitkit.units import parse_length_mm

__all__ = ["PAPERS", "Paper", "paper_named"]

_ROLL = "roll"
_ROLL_WIDTHS_MM = (250.0, 1700.0)
# A PDF page is 200 in long at most (ISO 32000-1:2008, annex C.2).
_LONGEST_MM = 5000.0


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper, portrait, in millimetres.

    Paper on a roll has the longest height a page may have; each page is cut off where it ends.
    """

    name: str
    width_mm: float
    height_mm: float
    on_roll: bool = False

    def cut_off(self, height_mm: float) -> Paper:
        """Return a page of that length from the roll."""
        return replace(self, height_mm=height_mm)

    def across(self) -> Paper:
        """Return the sheet laid on its long side."""
        return replace(
            self,
            name=f"{self.name} across",
            width_mm=max(self.width_mm, self.height_mm),
            height_mm=min(self.width_mm, self.height_mm),
        )


# A sizes: ISO 216. Letter and Tabloid: ANSI/ASME Y14.1 sizes A and B (8.5 x 11 in, 11 x 17 in).
PAPERS = {
    paper.name: paper
    for paper in (
        Paper("A4", 210.0, 297.0),
        Paper("A3", 297.0, 420.0),
        Paper("Letter", 215.9, 279.4),
        Paper("Tabloid", 279.4, 431.8),
    )
}
"""The papers fitkit prints on, by name."""


def paper_named(name: str) -> Paper:
    """Return the paper of that name, whatever its letter case; ``"roll 610"`` is one on a roll.

    Rolls are sold 594 and 841 mm wide (ISO 216 sizes A1 and A0), and 24, 36 and 42 in; any width
    between 250 and 1700 mm is taken.

    Raises
    ------
    InputError
        When there is none; the remedy lists those there are.
    """
    wanted = " ".join(name.lower().split())
    for paper in PAPERS.values():
        if paper.name.lower() == wanted:
            return paper
    kind, _, width = wanted.partition(" ")
    if kind == _ROLL and width:
        width_mm = parse_length_mm(width, what="width of the roll")
        least, most = _ROLL_WIDTHS_MM
        if not least <= width_mm <= most:
            raise InputError(
                f"A roll {width_mm:g} mm wide is not one to print on.",
                f"Give a width of {least:g} to {most:g} mm, such as roll 610 or roll 36 in.",
            )
        return Paper(f"{_ROLL} {width_mm:g}", width_mm, _LONGEST_MM, on_roll=True)
    raise InputError(
        f"There is no paper called '{name}'.",
        f"Choose one of {', '.join(PAPERS)}, or a roll by its width, such as roll 610.",
    )
