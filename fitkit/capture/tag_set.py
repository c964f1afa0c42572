"""Which printed tags the photos show: fitkit's own marker sheets, or tags a maker has.

Tags of a maker's own carry no saddle points and no check lines; each is a sheet by itself,
wherever it hangs or lies.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TypeAlias

import numpy as np

from fitkit.capture.marker_sheet import MarkerSheet, marker_sheet_of_tag
from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats

__all__ = ["OUR_SHEETS", "TAG_FAMILIES", "AnySheet", "PrintedTag", "TagSet", "tag_set"]

# Squares across a tag, its black rim of one square on each side included. The AprilTag
# families are named by the bits they hold: 16 are 4 x 4 squares.
_CELLS_ACROSS = {
    "16h5": 6,
    "25h9": 7,
    "36h10": 8,
    "36h11": 8,
    "4x4": 6,
    "5x5": 7,
    "6x6": 8,
    "7x7": 9,
}
TAG_FAMILIES = tuple(_CELLS_ACROSS)
"""AprilTag families, then the square ArUco dictionaries of OpenCV."""
_SIZES = (50, 100, 250, 1000)
_ARUCO = re.compile(r"(?:aruco|dict)?[ _-]*([4-7]x[4-7])(?:[ _-](\d+))?")
_APRIL = re.compile(r"(?:april|apriltag|tag|dict_apriltag)?[ _-]*(\d\dh\d\d?)")
_SMALLEST_MM, _LARGEST_MM = 5.0, 2000.0


@dataclass(frozen=True, slots=True)
class PrintedTag:
    """One tag of a maker's own; its frame is that of a marker sheet, centred on the tag.

    ``number`` is the tag's id. Right side up is as OpenCV draws the tag.
    """

    number: int
    tag_side_mm: float
    cells_across: int

    tells_front = False
    saddle_half_mm = 0.0

    @property
    def tag_id(self) -> int:
        """Id in its family."""
        return self.number

    @property
    def called(self) -> str:
        """What a message calls it."""
        return f"tag {self.number}"

    def goes_by(self, name: str) -> bool:
        """Tell whether a check length may mean it by this name."""
        return name == str(self.number)

    def tag_corners_mm(self) -> Floats:
        """(4, 3) float mm: top-left, top-right, bottom-right, bottom-left."""
        half = self.tag_side_mm / 2.0
        return half * np.array([[-1.0, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]])

    def saddles_mm(self) -> Floats:
        """(0, 3): it has none."""
        return np.zeros((0, 3))

    def outer_points_mm(self) -> Floats:
        """(4, 3) float mm: points far apart on it, for planes through it."""
        return self.tag_corners_mm()


AnySheet: TypeAlias = MarkerSheet | PrintedTag


@dataclass(frozen=True, slots=True)
class TagSet:
    """The tags to look for.

    Attributes
    ----------
    family
        AprilTag family, or ArUco dictionary with the number of its tags, ``"4x4_50"``.
    side_mm
        Outer side of the tags' black square; None for fitkit's own sheets.
    """

    family: str = "36h11"
    side_mm: float | None = None

    @property
    def ours(self) -> bool:
        """True for fitkit's own marker sheets."""
        return self.side_mm is None

    @property
    def cells_across(self) -> int:
        """Squares across a tag, its black rim included."""
        return _CELLS_ACROSS[self.family.partition("_")[0]]

    @property
    def opencv_name(self) -> str:
        """Name of the dictionary in OpenCV's ``aruco`` module."""
        return f"DICT_{'APRILTAG_' if 'h' in self.family else ''}{self.family.replace('x', 'X')}"

    @property
    def easily_mistaken(self) -> bool:
        """True where chance patterns in a room read as tags now and then: too few bits."""
        return self.cells_across < 7

    def sheet_of_tag(self, tag_id: int) -> AnySheet | None:
        """Return the sheet with a tag, None where there is none."""
        if self.side_mm is None:
            return marker_sheet_of_tag(tag_id)
        return PrintedTag(tag_id, self.side_mm, self.cells_across)


OUR_SHEETS = TagSet()
"""fitkit's own marker sheets."""


def tag_set(family: str, side_mm: float) -> TagSet:
    """Return the set of a maker's own tags.

    ``family`` is one of :data:`TAG_FAMILIES`; of the ArUco dictionaries the number of
    tags may follow, ``"4x4_50"``: the fewer, the less a chance pattern is taken for one.

    Raises
    ------
    InputError
        When the family is not known or the side is no length of a tag.

    Examples
    --------
    >>> tag_set("AprilTag 36h11", 24.0), tag_set("aruco 4X4_50", 60).opencv_name
    (TagSet(family='36h11', side_mm=24.0), 'DICT_4X4_50')
    """
    known = ", ".join(TAG_FAMILIES)
    told = " ".join(family.lower().split())
    name = ""
    if match := _APRIL.fullmatch(told):
        name = match.group(1)
    elif match := _ARUCO.fullmatch(told):
        count = int(match.group(2) or _SIZES[-1])
        name = f"{match.group(1)}_{count}" if count in _SIZES else ""
    if name.partition("_")[0] not in _CELLS_ACROSS:
        near = get_close_matches(told, TAG_FAMILIES, n=1)
        meant = f"Did you mean {near[0]}? " if near else ""
        sizes = ", ".join(f"_{size}" for size in _SIZES)
        raise InputError(
            f"There is no tag family '{family}'.",
            f"{meant}Known are {known}; behind the last four may stand {sizes}.",
        )
    if not (math.isfinite(side_mm) and _SMALLEST_MM <= side_mm <= _LARGEST_MM):
        raise InputError(
            f"A tag cannot have a side of {side_mm:g} mm.",
            "Measure the outer side of a tag's black square, rim included, in millimetres.",
        )
    return TagSet(name, float(side_mm))
