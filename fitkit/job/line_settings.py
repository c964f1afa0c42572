"""Sections of ``job.toml`` about places, the form and tape lines."""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from fitkit.job.setting_words import (
    Degrees,
    Fraction,
    Length,
    LengthAboveZero,
    LengthFromZero,
    MisfitError,
    Name,
    Section,
)

__all__ = [
    "AnchorSection",
    "FormSection",
    "GeodesicSection",
    "LevelSection",
    "LineSection",
    "MirroredSection",
    "PaddingSection",
    "ParallelSection",
    "RoundSection",
    "SymmetrySection",
    "ThroughSection",
]


_Part: TypeAlias = Annotated[float, Field(ge=-2.0, le=3.0)]


class AnchorSection(Section):
    """A place on the form, given in exactly one of six ways.

    ``between`` two landmarks is the height ``part`` of the way from the first's to the second's.
    ``line`` is a place on another tape line, for lines only: by ``along`` (0 at its start to 1),
    by the line it is ``crossing`` there, or the place nearest to the point before.
    """

    landmark: str | None = None
    height_mm: Length | None = None
    axis: str | None = None
    along: Fraction | None = None
    between: tuple[str, str] | None = None
    part: _Part | None = None
    bearing_deg: Degrees | None = None
    line: Name | None = None
    crossing: Name | None = None
    xyz_mm: tuple[Length, Length, Length] | None = None

    @model_validator(mode="after")
    def _one_way_only(self) -> AnchorSection:
        given = self.model_fields_set
        ways = (
            {"landmark"},
            {"height_mm", "bearing_deg"},
            {"between", "part", "bearing_deg"},
            {"axis", "along", "bearing_deg"},
            {"xyz_mm"},
            {"line"},
            {"line", "along"},
            {"line", "crossing"},
        )
        if given not in ways:
            raise MisfitError(
                tuple(sorted(given)),
                "Give a place as landmark, or height_mm and bearing_deg, or between, part and "
                "bearing_deg, or axis, along and bearing_deg, or xyz_mm, or line (with along or "
                "crossing, or alone).",
            )
        return self


class FormSection(Section):
    """``[form]``: clothing, padding and air between the body and the inside of the plates.

    Either ``clearance_mm``, all of it, or each by itself. ``bridge_mm`` is the radius of the ball
    by which a rigid plate spans hollows, 0 to follow them; ``play_mm`` the room between a
    plate and the one it lies over.
    """

    clearance_mm: LengthFromZero | None = None
    clothing_mm: LengthFromZero | None = None
    padding_mm: LengthFromZero | None = None
    air_mm: LengthFromZero | None = None
    bridge_mm: LengthFromZero = 0.0
    play_mm: LengthFromZero = 0.5

    @model_validator(mode="after")
    def _told_once(self) -> FormSection:
        layers = (self.clothing_mm, self.padding_mm, self.air_mm)
        if self.clearance_mm is not None and any(layer is not None for layer in layers):
            raise MisfitError(
                ("clearance_mm", "clothing_mm", "padding_mm", "air_mm"),
                "Give either clearance_mm, or clothing_mm, padding_mm and air_mm each by itself.",
            )
        return self

    def room_mm(self) -> float:
        """Clothing, padding and air together."""
        layers = [x for x in (self.clothing_mm, self.padding_mm, self.air_mm) if x is not None]
        if self.clearance_mm is not None:
            return self.clearance_mm
        return sum(layers) if layers else 5.0


def _end(value: Any) -> Any:
    if isinstance(value, str) or (isinstance(value, (int, float)) and 0 <= value <= 1):
        return value
    raise ValueError("Write a landmark's name, or a place along the axis from 0 to 1.")


_End: TypeAlias = Annotated[str | float, BeforeValidator(_end)]


class PaddingSection(Section):
    """A ``[[padding]]``: a place where clothing or a pad is thicker than elsewhere.

    The place is told in exactly one of three ways: ``between`` two landmarks, or two places from 0
    to 1, along an ``axis`` (the trunk unless another is named), narrowed by ``bearing_deg`` from
    and to if wanted; a ``centre`` and ``radius_mm``; or ``lines`` round a place ``inside``.
    """

    name: Name
    thickness_mm: LengthAboveZero
    axis: str = "trunk"
    between: tuple[_End, _End] | None = None
    bearing_deg: tuple[Degrees, Degrees] | None = None
    centre: AnchorSection | None = None
    radius_mm: LengthAboveZero | None = None
    lines: list[str] = Field(default_factory=list)
    inside: AnchorSection | None = None
    runout_mm: LengthFromZero = 25.0

    @model_validator(mode="after")
    def _one_place(self) -> PaddingSection:
        given = self.model_fields_set - {"name", "thickness_mm", "runout_mm"}
        ways = ({"between"}, {"centre", "radius_mm"}, {"lines", "inside"})
        if given - {"axis", "bearing_deg"} not in ways or (
            given & {"axis", "bearing_deg"} and "between" not in given
        ):
            raise MisfitError(
                tuple(sorted(given)),
                "Give a padded place as between (with axis and bearing_deg if wanted), or centre "
                "and radius_mm, or lines and inside.",
            )
        return self


class LevelSection(Section):
    """A ``[[line]]`` of kind ``level``: a round square to an axis."""

    name: Name
    kind: Literal["level"]
    axis: str = "trunk"
    height_mm: Length | None = None
    along: Fraction | None = None
    between: tuple[str, str] | None = None
    part: _Part | None = None
    tilt_deg: Annotated[float, Field(gt=-90.0, lt=90.0)] = 0.0

    @model_validator(mode="after")
    def _one_place(self) -> LevelSection:
        if self.axis != "trunk" and self.along is None:
            raise MisfitError(
                ("axis",), "Give along (0 to 1) for a level on a limb; height_mm is the trunk's."
            )
        if [self.height_mm, self.along, self.between].count(None) != 2:
            raise MisfitError(
                ("height_mm", "along", "between"),
                "Give a level either height_mm, between or along, one of the three.",
            )
        if self.part is not None and self.between is None:
            raise MisfitError(("part",), "Give part together with between two landmarks.")
        return self


class GeodesicSection(Section):
    """A ``[[line]]`` of kind ``geodesic``: the shortest way over the form, point to point."""

    name: Name
    kind: Literal["geodesic"]
    points: Annotated[list[AnchorSection], Field(min_length=2)]
    closed: bool = False


class ThroughSection(Section):
    """A ``[[line]]`` of kind ``through``: a smooth line over the form through its points."""

    name: Name
    kind: Literal["through"]
    points: Annotated[list[AnchorSection], Field(min_length=2)]
    closed: bool = False


class SymmetrySection(Section):
    """A ``[[line]]`` of kind ``symmetry``: down the middle, front and back."""

    name: Name
    kind: Literal["symmetry"]


class ParallelSection(Section):
    """A ``[[line]]`` of kind ``parallel``: at a distance over the form from another line."""

    name: Name
    kind: Literal["parallel"]
    of: Name
    distance_mm: LengthAboveZero
    towards: Literal["up", "down", "left", "right", "front", "back", "in", "out"]


class MirroredSection(Section):
    """A ``[[line]]`` of kind ``mirrored``: another line drawn again on the other side."""

    name: Name
    kind: Literal["mirrored"]
    of: Name


class RoundSection(Section):
    """A ``[[line]]`` of kind ``round``: all places at one distance from its centre."""

    name: Name
    kind: Literal["round"]
    centre: AnchorSection
    radius_mm: LengthAboveZero


LineSection: TypeAlias = Annotated[
    LevelSection
    | GeodesicSection
    | ThroughSection
    | SymmetrySection
    | ParallelSection
    | MirroredSection
    | RoundSection,
    Field(discriminator="kind"),
]
