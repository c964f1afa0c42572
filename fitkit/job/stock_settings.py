"""Sections of ``job.toml`` about sheets: what there is, how parts lie on it, what stays put."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, field_validator, model_validator

from fitkit.job.setting_words import (
    Degrees,
    Length,
    LengthAboveZero,
    LengthFromZero,
    MisfitError,
    Name,
    Section,
)
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.materials.stock_sizes import stock_sizes_of

__all__ = ["BadZoneSection", "NestSection", "PinnedSection", "StockSection"]


def _once_round(corners_mm: Any, whose: str) -> Any:
    """Hold corners to go once round."""
    if corners_mm is not None:
        # Drawing on shapes is for those few jobs that tell corners; others open without.
        from fitkit.sheets.stock_sheet import checked_outline

        checked_outline(np.array(corners_mm), whose)
    return corners_mm


class BadZoneSection(Section):
    """A place of a sheet to keep off: ``{at_mm, within_mm}`` round, or its ``corners_mm``."""

    at_mm: tuple[Length, Length] | None = None
    within_mm: LengthAboveZero | None = None
    corners_mm: Annotated[list[tuple[Length, Length]], Field(min_length=3)] | None = None

    @field_validator("corners_mm")
    @classmethod
    def _once_round(cls, value: list[tuple[float, float]] | None) -> Any:
        return _once_round(value, "the bad zone")

    @model_validator(mode="after")
    def _one_way(self) -> BadZoneSection:
        is_round = self.at_mm is not None and self.within_mm is not None
        if is_round == (self.corners_mm is not None) or (
            (self.at_mm is None) != (self.within_mm is None)
        ):
            raise MisfitError(
                ("at_mm", "within_mm", "corners_mm"),
                "Give a bad zone either at_mm and within_mm, or corners_mm.",
            )
        return self


class StockSection(Section):
    """A ``[[stock]]``: sheets or offcuts of one size, from which parts are cut.

    ``size_mm`` is length and width; an odd offcut has ``outline_mm``, its corners in order.
    ``quantity`` of them there are; with ``to_buy`` it is a size that can be bought, as many as it
    takes. ``grain`` runs along or across the length; a sheet that is ``faced``, as leather and foam
    are unless told otherwise, takes no mirrored part. ``price`` is for one sheet. ``left_by`` is
    the job folder that an offcut comes from, as seen from this one, ``left_by_id`` what that folder
    is known by when it is moved.
    """

    name: Name
    material: str
    temper: str | None = None
    thickness_mm: LengthAboveZero
    size_mm: tuple[LengthAboveZero, LengthAboveZero] | None = None
    outline_mm: Annotated[list[tuple[Length, Length]], Field(min_length=3)] | None = None
    quantity: Annotated[int, Field(ge=0, le=999)] = 1
    to_buy: bool = False
    bad: list[BadZoneSection] = Field(default_factory=list)
    grain: Literal["along", "across"] | None = None
    faced: bool | None = None
    price: Annotated[float, Field(ge=0.0)] | None = None
    left_by: str | None = None
    left_by_id: str | None = None

    def material_name(self) -> str:
        """Return the material with its temper: ``"aluminium 3003-H14"``."""
        return self.material if self.temper is None else f"{self.material}-{self.temper}"

    def is_faced(self) -> bool:
        """Tell whether one side is to be seen: as told, else as the material usually is."""
        return stock_sizes_of(self.material).faced if self.faced is None else self.faced

    @field_validator("outline_mm")
    @classmethod
    def _once_round(cls, value: list[tuple[float, float]] | None) -> Any:
        return _once_round(value, "the sheet")

    @model_validator(mode="after")
    def _fits_together(self) -> StockSection:
        sheet_material_named(self.material_name())
        if (self.size_mm is None) == (self.outline_mm is None):
            raise MisfitError(
                ("size_mm", "outline_mm"), "Give a sheet either its size_mm or its outline_mm."
            )
        if self.to_buy and "quantity" in self.model_fields_set:
            raise MisfitError(
                ("to_buy", "quantity"),
                "A size to_buy has no quantity: as many are taken as it takes.",
            )
        if self.to_buy and self.bad:
            raise MisfitError(("to_buy", "bad"), "A size to_buy has no bad zones yet.")
        return self


class NestSection(Section):
    """``[nest]``: how parts lie on their sheets.

    ``gap_mm`` is between parts, ``margin_mm`` along the sheet's edge. ``turn_step_deg = 90`` turns
    parts by quarters only, 0 lets them turn freely; a part's grain goes before either.
    ``seconds`` are spent looking for a better layout. Offcuts are kept that hold a square of
    ``offcut_mm``.
    """

    gap_mm: LengthFromZero = 3.0
    margin_mm: LengthFromZero = 5.0
    turn_step_deg: Annotated[float, Field(ge=0.0, le=360.0)] = 0.0
    mirrored: bool = False
    seconds: Annotated[float, Field(ge=0.0, le=86400.0)] = 20.0
    offcut_mm: LengthAboveZero = 120.0
    currency: str = ""


class PinnedSection(Section):
    """A ``[[pinned]]``: a part that stays where it lies; ``fitkit nest --pin`` writes it.

    ``part`` is its name with its side, ``"shoulder cap, left"``. Its template is mirrored, if it
    is, turned about its lower left corner, and that corner laid ``at_mm`` from the sheet's.
    """

    part: str
    sheet: str
    copy_number: Annotated[int, Field(ge=1)] = 1
    at_mm: tuple[Length, Length]
    turn_deg: Degrees = 0.0
    mirrored: bool = False
