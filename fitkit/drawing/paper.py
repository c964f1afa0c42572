"""Paper sizes."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.errors import InputError

__all__ = ["PAPERS", "Paper", "paper_named"]


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper, portrait, in millimetres."""

    name: str
    width_mm: float
    height_mm: float


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
    """Return the paper of that name, whatever its letter case.

    Raises
    ------
    InputError
        When there is none; the remedy lists those there are.
    """
    for paper in PAPERS.values():
        if paper.name.lower() == name.strip().lower():
            return paper
    raise InputError(f"There is no paper called '{name}'.", f"Choose one of {', '.join(PAPERS)}.")
