"""Sections of ``job.toml`` about the build book and what is bought beside the sheet."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from fitkit.job.setting_words import LengthAboveZero, Name, Section

__all__ = ["BookSection", "HardwareSection"]


class BookSection(Section):
    """``[book]``: what the build book holds.

    ``measures = false`` leaves the page of the wearer's measures out, as for a book that is given
    out of the house.
    """

    measures: bool = True


class HardwareSection(Section):
    """A ``[[hardware]]`` row: something to buy that the plates do not tell of themselves.

    ``on`` names the patch it belongs to; on one made in a pair it is there twice.
    """

    name: Name
    count: Annotated[int, Field(ge=1)] = 1
    on: str = ""
    length_mm: LengthAboveZero | None = None
    note: str = ""
