"""Marker sheets: what is printed on each, in the sheet's own frame.

Sheet frame: origin in the middle of the paper, x right, y up towards the top edge, z out
of the printed side, millimetres. Each sheet carries one large square tag of the
AprilTag 36h11 family for telling sheets apart and for strong poses, four bow-tie saddle
points whose place in a photo does not move with exposure (they give the scale), and two
check lengths that the maker measures after printing.

The tag id alone tells paper and sheet number, so sheets of several papers may be mixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.drawing.paper import PAPERS, Paper, paper_named
from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats

__all__ = ["MarkerSheet", "marker_sheet", "marker_sheet_of_tag"]

TAG_SIDE_MM = 150.0
_SADDLE_HALF_MM = 18.0
_SHEETS_PER_PAPER = 100
_PAPER_ORDER = ("A4", "A3", "Letter")
# Office printers leave 3 to 6.4 mm blank at the edges (common practice, no source).
_CHECK_MM = {"A4": (180.0, 200.0), "A3": (200.0, 200.0), "Letter": (180.0, 200.0)}
_SADDLES_MM = {"A4": (70.0, 112.0), "A3": (110.0, 165.0), "Letter": (70.0, 112.0)}


@dataclass(frozen=True, slots=True)
class MarkerSheet:
    """One printed sheet.

    Attributes
    ----------
    paper
        Its paper.
    number
        1 for the first sheet, which lies in front of the wearer.
    tag_id
        Id in the AprilTag 36h11 family, unique over papers and numbers.
    tag_side_mm
        Outer side of the tag's black square, centred on the sheet's origin.
    saddle_half_mm
        Each bow-tie reaches this far from its saddle point in x and y.
    check_mm
        Nominal length of the horizontal and of the vertical check line.
    """

    paper: Paper
    number: int
    tag_id: int
    tag_side_mm: float
    saddle_half_mm: float
    check_mm: tuple[float, float]

    @property
    def cells_across(self) -> int:
        """Squares across the tag, its black rim included."""
        return 8

    @property
    def tells_front(self) -> bool:
        """True for the sheet whose arrow shows which way the wearer faces."""
        return self.number == 1

    @property
    def called(self) -> str:
        """What a message calls it."""
        return f"marker sheet {self.paper.name} number {self.number}"

    def goes_by(self, name: str) -> bool:
        """Tell whether a check length may mean it by this name."""
        return name in {str(self.number), f"{self.paper.name} {self.number}"}

    def tag_corners_mm(self) -> Floats:
        """(4, 3) float mm, sheet frame: top-left, top-right, bottom-right, bottom-left.

        The order is that in which OpenCV's detector returns the corners of an upright tag.
        """
        half = self.tag_side_mm / 2.0
        return half * np.array([[-1.0, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]])

    def saddles_mm(self) -> Floats:
        """(4, 3) float mm, sheet frame: the saddle points, in the same order as the tag corners.

        At each the upper-left and lower-right quarter of a square is black.
        """
        x, y = _SADDLES_MM[self.paper.name]
        return np.array([[-x, y, 0.0], [x, y, 0.0], [x, -y, 0.0], [-x, -y, 0.0]])

    def outer_points_mm(self) -> Floats:
        """(4, 3) float mm: points far apart on it, for planes through it."""
        return self.saddles_mm()


def marker_sheet(paper: Paper | str, number: int) -> MarkerSheet:
    """Return sheet ``number`` (from 1) of a paper.

    Raises
    ------
    InputError
        When the paper has no marker sheets or the number is not 1 to 100.
    """
    paper = paper_named(paper) if isinstance(paper, str) else paper
    if paper.name not in _PAPER_ORDER:
        raise InputError(
            f"There are no marker sheets for {paper.name} paper.",
            f"Choose one of {', '.join(_PAPER_ORDER)}.",
        )
    if not 1 <= number <= _SHEETS_PER_PAPER:
        raise InputError(
            f"There is no marker sheet number {number}.",
            f"Ask for 1 to {_SHEETS_PER_PAPER} sheets.",
        )
    return MarkerSheet(
        paper=paper,
        number=number,
        tag_id=_PAPER_ORDER.index(paper.name) * _SHEETS_PER_PAPER + number - 1,
        tag_side_mm=TAG_SIDE_MM,
        saddle_half_mm=_SADDLE_HALF_MM,
        check_mm=_CHECK_MM[paper.name],
    )


def marker_sheet_of_tag(tag_id: int) -> MarkerSheet | None:
    """Return the sheet that carries a tag id, or None when no sheet of ours does."""
    paper, index = divmod(tag_id, _SHEETS_PER_PAPER)
    if not 0 <= paper < len(_PAPER_ORDER):
        return None
    return marker_sheet(PAPERS[_PAPER_ORDER[paper]], index + 1)
