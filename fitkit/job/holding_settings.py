"""Sections of ``job.toml`` about what holds the plates on the wearer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from fitkit.job.line_settings import AnchorSection
from fitkit.job.setting_words import LengthAboveZero, LengthFromZero, MisfitError, Name, Section
from fitkit.materials.rivet import rivet_named
from fitkit.materials.sheet_material import sheet_material_named

__all__ = ["FastenerSection", "GussetSection", "PadSection", "StrapSection"]


class FastenerSection(Section):
    """A ``[[fastener]]`` that holds a removable patch on the one under it, ``at`` a place.

    Without a ``kind`` it is chosen by ``load`` and by whether it is opened ``often``, each time the
    costume is worn.
    """

    name: Name
    on: tuple[str, str]
    at: AnchorSection
    kind: Literal["screw and post", "turn button", "hook and loop", "magnet"] | None = None
    load: Literal["light", "medium", "heavy"] = "medium"
    often: bool = False
    pair: bool = False


class GussetSection(Section):
    """A ``[[gusset]]``: a soft piece in the gap between two patches, ``at`` a place in it.

    It lies ``under_mm`` under each plate, with ``seam_mm`` of allowance beyond. Edges farther apart
    than ``reach_mm`` have no gap between them.
    """

    name: Name
    between: tuple[str, str]
    at: AnchorSection
    pair: bool = False
    material: str = "leather"
    thickness_mm: LengthAboveZero = 1.5
    under_mm: LengthAboveZero = 25.0
    seam_mm: LengthFromZero = 10.0
    reach_mm: LengthAboveZero = 80.0

    @model_validator(mode="after")
    def _known(self) -> GussetSection:
        sheet_material_named(self.material)
        if self.at.line is not None:
            raise MisfitError(("at",), "Give a place amid the gap, not on a line.")
        return self


class PadSection(Section):
    """A ``[[pad]]`` glued inside a patch, ending ``edge_mm`` inside its own edge.

    Without ``thickness_mm`` it fills the padding of ``[form]``, else all of the room under the
    plate.
    """

    name: Name
    on: str
    thickness_mm: LengthAboveZero | None = None
    material: str = "foam"
    layers: Annotated[int, Field(ge=1, le=20)] = 1
    edge_mm: LengthFromZero = 10.0

    @model_validator(mode="after")
    def _known(self) -> PadSection:
        sheet_material_named(self.material)
        return self


class StrapSection(Section):
    """A ``[[strap]]`` from one plate to another, or round a limb back to the same.

    It is riveted to the first of the two patches in ``on`` and closed on the second, lying on each
    ``at`` a place: that of the rivet nearest the plate's edge, or at the edge itself, when the
    rivets follow inwards. ``through`` names places on its way. ``over = "body"`` lets it lie close
    to the body between the plates. With ``pair`` there is a mirrored one on the wearer's other
    side. ``play_mm`` is how much longer than over padding, and shorter than on the bare body, it
    can be set; ``pitch_mm`` is from hole to hole.
    """

    name: Name
    on: tuple[str, str]
    at: tuple[AnchorSection, AnchorSection]
    through: list[AnchorSection] = Field(default_factory=list)
    over: Literal["form", "body"] = "form"
    pair: bool = False
    width_mm: LengthAboveZero = 25.0
    thickness_mm: LengthAboveZero = 3.0
    material: str = "leather"
    closing: Literal["buckle", "post", "hook and loop"] = "buckle"
    play_mm: LengthFromZero = 10.0
    pitch_mm: LengthAboveZero = 20.0
    rivets: str = "blind 4"
    note: str = ""

    @model_validator(mode="after")
    def _fits_together(self) -> StrapSection:
        sheet_material_named(self.material)
        rivet_named(self.rivets)
        return self
