"""The kinds of value that stand in ``job.toml``: lengths, names, angles, shares.

Lengths may carry a unit (``"92 cm"``) and come out in millimetres; angles stay in degrees.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from fitkit.materials.galvanic import METALS
from fitkit.units import parse_length_mm

__all__ = [
    "Degrees",
    "Fraction",
    "Length",
    "LengthAboveZero",
    "LengthFromZero",
    "Metal",
    "MisfitError",
    "Name",
    "Section",
    "file_stem",
    "length_mm_of",
]


class MisfitError(ValueError):
    """A section's words that do not fit together: ``words`` are those at fault, the worst first."""

    def __init__(self, words: tuple[str, ...], remedy: str) -> None:
        super().__init__(remedy)
        self.words = words


def file_stem(name: str) -> str:
    """Return a part's name as it appears in file names: ``"Breast plate"`` is ``breast-plate``."""
    return re.sub(r"[^\w]+", "-", name.strip().lower()).strip("-_")


def length_mm_of(value: Any) -> float:
    """Return a length, a number or text with a unit, in millimetres."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError('Write a length such as 925, or "92.5 cm".')
    return parse_length_mm(value)


def _not_negative(value: float) -> float:
    if value < 0:
        raise ValueError("Give a length of zero or more.")
    return value


def _positive(value: float) -> float:
    if value <= 0:
        raise ValueError("Give a length above zero.")
    return value


def _name(value: Any) -> str:
    if not isinstance(value, str) or not file_stem(value):
        raise ValueError("Give a name with at least one letter or digit.")
    return " ".join(value.split())


def _metal(value: Any) -> str:
    told = str(value).strip().lower().replace("aluminum", "aluminium")
    if told and told not in METALS:
        raise ValueError(f"Give a metal, one of: {', '.join(METALS)}.")
    return told


Length: TypeAlias = Annotated[float, BeforeValidator(length_mm_of)]
LengthFromZero: TypeAlias = Annotated[
    float, BeforeValidator(lambda value: _not_negative(length_mm_of(value)))
]
LengthAboveZero: TypeAlias = Annotated[
    float, BeforeValidator(lambda value: _positive(length_mm_of(value)))
]
Metal: TypeAlias = Annotated[str, BeforeValidator(_metal)]
"""A family of metals; empty where none is told."""
Name: TypeAlias = Annotated[str, BeforeValidator(_name)]
Degrees: TypeAlias = Annotated[float, Field(ge=-360.0, le=360.0)]
Fraction: TypeAlias = Annotated[float, Field(ge=0.0, le=1.0)]


class Section(BaseModel):
    """A section of ``job.toml``: refuses words it does not know, never changes."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=False)
