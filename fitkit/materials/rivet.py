"""Rivets, screws and screw posts as sold, and the handbook rules for choosing and placing them.

Screws and posts hold parts that come off again; they are placed by the rules for rivets.

Sources: AC 43.13-1B for the edge distance and the smallest pitch, Navy aviation structural
training for the usual pitch and the length of a solid rivet; the largest pitch is the largest
seen in a trade review. Shank diameters are written D.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Literal

from fitkit.errors import InputError

__all__ = [
    "Rivet",
    "RivetKind",
    "rivet_for_stack",
    "rivet_named",
    "rivets",
    "screw_for_hole",
    "screw_metals",
]

RivetKind = Literal["blind", "solid", "screw", "post"]
_NOUNS: dict[RivetKind, str] = {
    "blind": "blind rivet",
    "solid": "solid rivet",
    "screw": "screw",
    "post": "screw post",
}
_COUNTERSUNK = "countersunk"
# What the tabled grips of blind rivets hold for; those of other bodies are in ISO 15979, 15983 and
# 16582, whose tables were not to be had.
_GRIPS_OF = "aluminium"

# Times the diameter.
_LEAST_EDGE = 2.0
_GOOD_EDGE = 2.5
_LEAST_PITCH = 3.0
_USUAL_PITCH = 5.0
_LARGEST_PITCH = 10.0
# Over the stack a solid rivet stands out by this for its formed head.
_FORMED_HEAD = 1.5
# Times the thickest sheet.
_DIAMETER_FOR_SHEET = 3.0
# Solid rivets are sold in steps; common practice, no source.
_SOLID_STEP_MM = 1.0


@dataclass(frozen=True, slots=True)
class Rivet:
    """One diameter of a kind of rivet.

    Attributes
    ----------
    kind
        ``"blind"``, pulled from one side; ``"solid"``, headed by hammer; ``"screw"``, a machine
        screw with a lock nut; ``"post"``, a barrel with a screw in it.
    diameter_mm
        Shank diameter D.
    hole_mm
        Smallest and largest hole.
    lengths_mm
        ``(length, least grip, most grip)`` as sold, shortest first; empty for solid rivets, whose
        length follows from the stack.
    source, confidence
        Where the figures come from: ``seen``, ``memory`` or ``practice``.
    head_mm
        Height of its countersunk head, 0 where it has none.
    countersunk
        Whether that head is asked for.
    metals, metal
        What it is sold in, a family of :data:`fitkit.materials.galvanic.METALS`, the usual one
        first; and what it is of, empty for the usual one.
    """

    kind: RivetKind
    diameter_mm: float
    hole_mm: tuple[float, float]
    lengths_mm: tuple[tuple[float, float, float], ...]
    source: str
    confidence: str
    head_mm: float = 0.0
    countersunk: bool = False
    metals: tuple[str, ...] = ("aluminium",)
    metal: str = ""

    @property
    def name(self) -> str:
        """As a maker asks for it: ``"blind 3.2"``, ``"solid 3.2 copper countersunk"``."""
        words = (f"{self.kind} {self.diameter_mm:g}", self.metal, _COUNTERSUNK * self.countersunk)
        return " ".join(word for word in words if word)

    @property
    def noun(self) -> str:
        """What one of it is: ``"solid rivet"``, ``"copper solid rivet"``, ``"screw post"``."""
        words = (self.metal, _COUNTERSUNK * self.countersunk, _NOUNS[self.kind])
        return " ".join(word for word in words if word)

    @property
    def noun_with_metal(self) -> str:
        """As bought: ``"aluminium solid rivet"``."""
        return replace(self, metal=self.made_of).noun

    def of(self, metal: str) -> Rivet:
        """Return the same rivet of another metal; the usual one is not named."""
        return replace(self, metal="" if metal == self.metals[0] else metal)

    @property
    def made_of(self) -> str:
        """Its metal: the usual one where none was told."""
        return self.metal or self.metals[0]

    @property
    def length_note(self) -> str:
        """What to mind about its lengths: blind rivets' grips are tabled for aluminium alone."""
        if self.kind != "blind" or self.made_of == _GRIPS_OF:
            return ""
        return (
            f"length by the grips of {_GRIPS_OF} rivets (ISO 15981): check the {self.made_of} "
            "rivet's own in its maker's data sheet"
        )

    def size_in_words(self, length_mm: float) -> str:
        """Return diameter and length as sold: ``"3.2 × 6"``, ``"M4 × 12 with lock nut"``."""
        if self.kind == "screw":
            return f"M{self.diameter_mm:g} × {length_mm:g} with lock nut"
        return f"{self.diameter_mm:g} × {length_mm:g}"

    @property
    def least_edge_mm(self) -> float:
        """Hole centre to edge, at least.

        2 D (AC 43.13-1B, single row), 2.5 D with a countersunk head (study guide after FAA).
        """
        return (_GOOD_EDGE if self.countersunk else _LEAST_EDGE) * self.diameter_mm

    @property
    def good_edge_mm(self) -> float:
        """Hole centre to edge as recommended: 2.5 D."""
        return _GOOD_EDGE * self.diameter_mm

    @property
    def pitch_range_mm(self) -> tuple[float, float]:
        """Least and largest pitch in a row: 3 D (AC 43.13-1B) and 10 D."""
        return _LEAST_PITCH * self.diameter_mm, _LARGEST_PITCH * self.diameter_mm

    @property
    def usual_pitch_mm(self) -> float:
        """The middle of the usual 4 to 6 D."""
        return _USUAL_PITCH * self.diameter_mm

    @property
    def lap_mm(self) -> float:
        """Width of a lap for one row at the good edge distance on both sides: 5 D."""
        return 2.0 * self.good_edge_mm

    def length_for(self, grip_mm: float) -> float:
        """Return the length to buy for a stack of sheets, mm.

        A solid rivet is the stack and 1.5 D for the formed head (Navy, FAA) before rounding up to
        stock; :meth:`stock_length_for` does that.

        Raises
        ------
        InputError
            When no length as sold closes the stack.
        """
        if self.kind == "solid":
            return grip_mm + _FORMED_HEAD * self.diameter_mm
        for length, least, most in self.lengths_mm:
            if least - 1e-9 <= grip_mm <= most + 1e-9:
                return length
        shortest, longest = self.lengths_mm[0], self.lengths_mm[-1]
        raise InputError(
            f"No {self.name} mm {self.noun} closes a stack of {grip_mm:g} mm: they take "
            f"{shortest[1]:g} to {longest[2]:g} mm.",
            "Choose another diameter, or a screw and post.",
        )

    def stock_length_for(self, grip_mm: float) -> float:
        """Return :meth:`length_for` rounded up to the next length sold, mm."""
        length = self.length_for(grip_mm)
        if self.kind != "solid":
            return length
        return math.ceil(length / _SOLID_STEP_MM - 1e-9) * _SOLID_STEP_MM


@cache
def rivets() -> tuple[Rivet, ...]:
    """Return every row of the table, in its order."""
    text = files("fitkit.materials").joinpath("rivets.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    return tuple(
        Rivet(
            kind=row["kind"],
            diameter_mm=float(row["diameter_mm"]),
            hole_mm=(float(row["hole_mm"][0]), float(row["hole_mm"][1])),
            lengths_mm=tuple(
                (float(one["length_mm"]), float(one["grip_mm"][0]), float(one["grip_mm"][1]))
                for one in row["lengths"]
            ),
            source=row["source"],
            confidence=row["confidence"],
            head_mm=float(row.get("head_mm", 0.0)),
            metals=tuple(table["metals"][row["kind"]]),
        )
        for row in table["rivet"]
    )


def rivet_named(name: str) -> Rivet:
    """Return the rivet of a name: ``"blind 3.2"``, ``"solid 4 copper"``, ``"screw M4"``.

    Raises
    ------
    InputError
        When the table has none such, or not of that metal.
    """
    kind, number, *told = (*name.lower().replace("aluminum", "aluminium").split(), "", "")
    told = [word for word in told if word and word != "mm"]
    number = number.removeprefix("m").removesuffix("mm")
    sunk = _COUNTERSUNK in told
    metals = [word for word in told if word != _COUNTERSUNK]
    for rivet in rivets():
        if kind != rivet.kind or not _is_number(number, rivet.diameter_mm):
            continue
        if len(metals) > 1 or (sunk and not rivet.head_mm):
            break
        if metals and metals[0] not in rivet.metals:
            raise InputError(
                f"There is no {rivet.name} of {metals[0]}: '{name}'.",
                f"Choose one of: {', '.join(rivet.metals)}.",
            )
        return replace(rivet, countersunk=sunk).of(metals[0] if metals else rivet.metals[0])
    known = ", ".join(rivet.name for rivet in rivets())
    raise InputError(
        f"There is no rivet called '{name}'.",
        f"Choose one of: {known}; a metal and 'countersunk' may follow.",
    )


def screw_metals() -> tuple[str, ...]:
    """Return the metals that screws are sold in, the usual one first."""
    return next(row.metals for row in rivets() if row.kind == "screw")


def screw_for_hole(hole_mm: float, metal: str = "") -> Rivet:
    """Return the thickest screw whose smallest hole is no larger than the hole.

    Of a metal where one is told, else of the usual one.

    Raises
    ------
    InputError
        When the hole is too small for the thinnest.
    """
    screws = [row for row in rivets() if row.kind == "screw"]
    fitting = [row for row in screws if row.hole_mm[0] <= hole_mm + 1e-9]
    if not fitting:
        raise InputError(
            f"No screw in the table goes through a {hole_mm:g} mm hole.",
            f"Drill {min(row.hole_mm[0] for row in screws):g} mm at least.",
        )
    screw = max(fitting, key=lambda row: row.diameter_mm)
    return screw.of(metal or screw.metals[0])


def rivet_for_stack(sheets_mm: tuple[float, ...], *, kind: RivetKind = "blind") -> Rivet:
    """Return the rivet for a stack of sheets by the rule of thickness.

    The diameter is the one nearest to three times the thickest sheet (study guides after FAA
    practice; Navy: at least the thickest sheet, at most three times it); never thinner than the
    thickest sheet where the table has one, and one whose lengths close the stack.

    Raises
    ------
    InputError
        When the stack is empty, or nothing in the table closes it.
    """
    if not sheets_mm or min(sheets_mm) <= 0:
        raise InputError("A rivet needs sheets of some thickness.", "Give the thicknesses in mm.")
    grip = sum(sheets_mm)
    wanted = _DIAMETER_FOR_SHEET * max(sheets_mm)
    fitting = [rivet for rivet in rivets() if rivet.kind == kind and _closes(rivet, grip)]
    if not fitting:
        raise InputError(
            f"No {kind} rivet in the table closes a stack of {grip:g} mm.",
            "Use a screw and post, or lay thinner pieces together.",
        )
    thick_enough = [rivet for rivet in fitting if rivet.diameter_mm >= max(sheets_mm)] or fitting
    return min(thick_enough, key=lambda rivet: (abs(rivet.diameter_mm - wanted), rivet.diameter_mm))


def _closes(rivet: Rivet, grip_mm: float) -> bool:
    try:
        rivet.length_for(grip_mm)
    except InputError:
        return False
    return True


def _is_number(word: str, number: float) -> bool:
    try:
        return abs(float(word) - number) < 1e-9
    except ValueError:
        return False
