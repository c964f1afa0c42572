"""What goes through a plate to fasten something to it, by its metal."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.materials.rivet import rivet_named

__all__ = ["Fixing"]


@dataclass(frozen=True, slots=True)
class Fixing:
    """A rivet, screw or post, and the other sheets that it goes through.

    Attributes
    ----------
    rivet
        Its name in the table of rivets; empty where it has none, as what a plate swings on.
    metal
        What it is of where it has no name: a family of :data:`fitkit.materials.galvanic.METALS`,
        empty where the maker told none.
    meets
        Materials of the other sheets, by name.
    """

    rivet: str = ""
    metal: str = ""
    meets: tuple[str, ...] = ()

    @property
    def made_of(self) -> str:
        """Its metal, empty where that is not known."""
        return rivet_named(self.rivet).made_of if self.rivet else self.metal
