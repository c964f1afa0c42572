"""Check lengths: what a tape says, between two marker sheets or round the body, for the scan."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fitkit.errors import InputError
from fitkit.units import parse_length_mm

__all__ = ["BodyCheck", "CheckLength", "CheckedLength", "parse_check", "parse_check_length"]

_NAME = r"(?:(A4|A3|Letter)\s+)?(\d{1,4})"
_ROW = re.compile(rf"\s*{_NAME}\s*-\s*{_NAME}\s*=\s*(\S.*)", re.IGNORECASE)
_ON_BODY = re.compile(r"\s*([^\W\d_][^\d=]*?)\s*(?:=\s*(\S.*))?")
_SHORTEST_MM, _LONGEST_MM = 50.0, 50_000.0


@dataclass(frozen=True, slots=True)
class CheckLength:
    """A length laid by tape from the middle of one tag to the middle of another.

    Attributes
    ----------
    first, second
        The two sheets as the maker names them: the number, ``"5"``, with the paper before
        it, ``"A3 5"``, where sheets of several papers are used; of other tags the id.
    length_mm
        What the tape says.
    """

    first: str
    second: str
    length_mm: float

    @property
    def between(self) -> str:
        """The two names in one, ``"1-5"``."""
        return f"{self.first}-{self.second}"


@dataclass(frozen=True, slots=True)
class CheckedLength:
    """A check length beside what the photos gave before any check was heeded.

    Attributes
    ----------
    check
        What was laid.
    solved_mm
        The same distance in the scan.
    sigma
        One standard deviation of the laid length, as a fraction of it.
    agrees
        True when the two agree within the limit.
    """

    check: CheckLength
    solved_mm: float
    sigma: float
    agrees: bool

    @property
    def off(self) -> float:
        """By what part of the laid length the scan is too long."""
        return self.solved_mm / self.check.length_mm - 1.0


@dataclass(frozen=True, slots=True)
class BodyCheck:
    """A measure taken on the body itself by tape, to hold the finished body to.

    Attributes
    ----------
    measure
        Its name, as ``fitkit measure`` and the tape list call it, ``"chest"``.
    length_mm
        What the tape says; None to take it from the wearer's tape list.
    """

    measure: str
    length_mm: float | None


def parse_check(text: str) -> CheckLength | BodyCheck:
    """Return the check that a row states: ``"1-5=1.84 m"``, ``"chest=91.2 cm"`` or ``"chest"``.

    The last takes its length from the wearer's tape list.

    Raises
    ------
    InputError
        When the row is neither.

    Examples
    --------
    >>> parse_check("chest=91.2 cm"), parse_check("waist")
    (BodyCheck(measure='chest', length_mm=912.0), BodyCheck(measure='waist', length_mm=None))
    """
    match = _ON_BODY.fullmatch(text)
    if match is None or _ROW.fullmatch(text):
        return parse_check_length(text)
    measure = " ".join(match.group(1).lower().split())
    if match.group(2) is None:
        return BodyCheck(measure, None)
    length_mm = parse_length_mm(match.group(2), what=measure)
    if not _SHORTEST_MM <= length_mm <= _LONGEST_MM:
        raise InputError(
            f"The check '{text}' is {length_mm:g} mm.",
            'Give what the tape says with its unit, as "chest=91.2 cm".',
        )
    return BodyCheck(measure, length_mm)


def parse_check_length(text: str) -> CheckLength:
    """Return the check length that a row such as ``"1-5=1.84 m"`` states.

    Raises
    ------
    InputError
        When the row is not two different sheets and a length between 50 mm and 50 m.

    Examples
    --------
    >>> parse_check_length("1-5=1.84 m")
    CheckLength(first='1', second='5', length_mm=1840.0)
    """
    match = _ROW.fullmatch(text)
    if match is None:
        raise InputError(
            f"'{text}' is not a check length.",
            "Write the two sheets and the length from the middle of one tag to the middle of "
            'the other, as "1-5=1.84 m", or a measure of the body, as "chest=91.2 cm".',
        )
    first, second = _name(match.group(1), match.group(2)), _name(match.group(3), match.group(4))
    length_mm = parse_length_mm(match.group(5), what="check length")
    if first == second:
        raise InputError(
            f"The check length '{text}' goes from sheet {first} to itself.",
            "Name two different sheets.",
        )
    if not _SHORTEST_MM <= length_mm <= _LONGEST_MM:
        raise InputError(
            f"The check length '{text}' is {length_mm:g} mm.",
            f"Lay the tape between sheets {_SHORTEST_MM:g} mm to {_LONGEST_MM / 1000:g} m apart, "
            "the farther the better.",
        )
    return CheckLength(first, second, length_mm)


def _name(paper: str | None, number: str) -> str:
    spelled = {"a4": "A4", "a3": "A3", "letter": "Letter"}
    return f"{spelled[paper.lower()]} {int(number)}" if paper else str(int(number))
