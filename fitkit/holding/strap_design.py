"""What the maker says of a strap, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from fitkit.patch.design import Anchor

__all__ = ["Closing", "StrapDesign"]

Closing: TypeAlias = Literal["buckle", "post", "hook and loop"]


@dataclass(frozen=True, slots=True)
class StrapDesign:
    """A strap from one plate to another, or round a limb back to the same.

    Attributes
    ----------
    name
        As written on its template and at its seats on the plates.
    on
        The patches: the strap is riveted to the first and closed on the last.
    at
        Where it lies on each: the rivet nearest the plate's edge, or at the edge itself, when the
        rivets follow inwards.
    through
        Places that it runs over on its way.
    over
        Whether it lies over the plates' form, or close to the body between them.
    paired
        Whether there is a mirrored one on the wearer's other side.
    width_mm, thickness_mm, material
        Of the strap.
    closing
        ``buckle``: on a short buckle end, with holes in the strap. ``post``: the strap's holes go
        over a screw post in the last plate. ``hook and loop``: tape on the last plate and under
        the strap.
    play_mm
        How much longer than over padding and shorter than on the bare body it can be set.
    pitch_mm
        From hole to hole.
    rivets
        What holds its ends, by name.
    """

    name: str
    on: tuple[str, str]
    at: tuple[Anchor, Anchor]
    through: tuple[Anchor, ...] = ()
    over: Literal["form", "body"] = "form"
    paired: bool = False
    width_mm: float = 25.0
    thickness_mm: float = 3.0
    material: str = "leather"
    closing: Closing = "buckle"
    play_mm: float = 10.0
    pitch_mm: float = 20.0
    rivets: str = "blind 4"
    note: str = ""
