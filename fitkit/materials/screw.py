"""Machine screws with nuts: which fits a hole, and how long it must be.

Clearance holes of the fine series after ISO 273, nut heights after ISO 4032, coarse pitches after
ISO 261: all from memory of those standards.
"""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.errors import InputError

__all__ = ["Screw", "screw_for_hole"]

# Diameter, clearance hole, nut height, pitch.
_TABLE = (
    (2.0, 2.2, 1.6, 0.4),
    (2.5, 2.7, 2.0, 0.45),
    (3.0, 3.2, 2.4, 0.5),
    (4.0, 4.3, 3.2, 0.7),
    (5.0, 5.3, 4.7, 0.8),
    (6.0, 6.4, 5.2, 1.0),
    (8.0, 8.4, 6.8, 1.25),
)
# Lengths as sold (ISO 4762 series, from memory).
_LENGTHS_MM = (5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0)
# Turns of thread that stand out of a nut; common practice, no source.
_TURNS_OUT = 1.5


@dataclass(frozen=True, slots=True)
class Screw:
    """One thread size. ``hole_mm`` is its fine clearance hole."""

    diameter_mm: float
    hole_mm: float
    nut_mm: float
    pitch_mm: float

    @property
    def name(self) -> str:
        """As a maker asks for it: ``"M3"``."""
        return f"M{self.diameter_mm:g}"

    def length_for(self, grip_mm: float) -> float:
        """Return the length to buy for a stack of sheets: nut and a turn and a half beyond it.

        Raises
        ------
        InputError
            When none as sold is long enough.
        """
        wanted = grip_mm + self.nut_mm + _TURNS_OUT * self.pitch_mm
        for length in _LENGTHS_MM:
            if length >= wanted - 1e-9:
                return length
        raise InputError(
            f"No {self.name} screw in the table is {wanted:.0f} mm long.",
            "Lay thinner pieces together, or use threaded rod.",
        )


def screw_for_hole(hole_mm: float) -> Screw:
    """Return the thickest screw whose clearance hole is no larger than the hole.

    Raises
    ------
    InputError
        When the hole is too small for the thinnest.
    """
    fitting = [row for row in _TABLE if row[1] <= hole_mm + 1e-9]
    if not fitting:
        raise InputError(
            f"No screw in the table goes through a {hole_mm:g} mm hole.",
            f"Drill {_TABLE[0][1]:g} mm at least.",
        )
    return Screw(*fitting[-1])
