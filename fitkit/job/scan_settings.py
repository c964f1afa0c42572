"""Sections of ``job.toml`` about the wearer, the photos and the body."""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from fitkit.body.body_part import BodyPart
from fitkit.capture.check_length import parse_check
from fitkit.capture.tag_set import tag_set
from fitkit.job.setting_words import Fraction, Length, LengthAboveZero, MisfitError, Name, Section

__all__ = [
    "BodySection",
    "CaptureSection",
    "GirthSection",
    "JobSection",
    "StandSection",
    "WearerSection",
]


def _check_length(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError('Write a check such as "1-5=1.84 m" or "chest=91.2 cm".')
    parse_check(value)
    return value


_Check: TypeAlias = Annotated[str, BeforeValidator(_check_length)]


class JobSection(Section):
    """``[job]``: what the job is called on every page, and its revision as the maker counts it."""

    name: Name
    revision: Annotated[str, Field(max_length=12)] = ""


class WearerSection(Section):
    """``[wearer]``: who wears it, and the tape list taken on that person."""

    name: str = ""
    tape: dict[str, LengthAboveZero] = Field(default_factory=dict)


class CaptureSection(Section):
    """``[capture]``: how the photos were taken.

    ``printed_mm`` holds the two check lengths of the marker sheets as measured on the
    printed paper, across and up; ``checks`` holds distances between two sheets laid by
    tape, ``"1-5=1.84 m"``, from the middle of one tag to the middle of the other, and measures
    taken on the body itself, ``"chest=91.2 cm"`` or ``"chest"`` as in the tape list. Where
    tags of the maker's own take the place of the marker sheets, ``tags`` names their family
    and ``side_mm`` the side of their black square. The heights and the radius bound the
    body in space.
    """

    printed_mm: tuple[LengthAboveZero, LengthAboveZero] | None = None
    checks: list[_Check] = Field(default_factory=list)
    tags: str | None = None
    side_mm: LengthAboveZero | None = None
    bottom_mm: Length | None = None
    top_mm: Length | None = None
    radius_mm: LengthAboveZero | None = None
    longest_px: Annotated[int, Field(ge=600, le=12000)] = 2016

    @model_validator(mode="after")
    def _top_is_above_bottom(self) -> CaptureSection:
        bottom_mm, top_mm = self.bottom_mm, self.top_mm
        if bottom_mm is not None and top_mm is not None and top_mm <= bottom_mm:
            raise MisfitError(("top_mm", "bottom_mm"), "Give a top_mm above bottom_mm.")
        return self

    @model_validator(mode="after")
    def _tags_have_a_side(self) -> CaptureSection:
        if (self.tags is None) != (self.side_mm is None):
            raise MisfitError(
                ("tags", "side_mm"),
                'Tags of your own need both, as tags = "36h11" and side_mm = 24; marker sheets '
                "neither.",
            )
        if self.tags is not None and self.side_mm is not None:
            tag_set(self.tags, self.side_mm)
            if self.printed_mm is not None:
                raise MisfitError(
                    ("printed_mm", "tags"),
                    "printed_mm is for fitkit's own marker sheets; of your own tags measure "
                    "side_mm.",
                )
        return self


_Point: TypeAlias = tuple[float, float, float]
_AXES = ("x", "-x", "y", "-y", "z", "-z")


def _way(value: Any) -> Any:
    if isinstance(value, str) and value in _AXES:
        return value
    numbers = isinstance(value, (list, tuple)) and len(value) == 3
    if numbers and all(isinstance(part, (int, float)) for part in value) and any(value):
        return tuple(value)
    raise ValueError(
        f'Write one of {", ".join(_AXES)}, or three numbers such as [0, 0.1, 1]; up may be "find".'
    )


_Way: TypeAlias = Annotated[str | _Point, BeforeValidator(_way)]
_UpWay: TypeAlias = Annotated[
    str | _Point, BeforeValidator(lambda value: value if value == "find" else _way(value))
]


class StandSection(Section):
    """``[body.stand]``: three points of the mesh, in its own numbers, that stand it up.

    One low on the body, one straight above it, and one anywhere in front.
    """

    low: _Point
    high: _Point
    front: _Point


class BodySection(Section):
    """``[body]``: a mesh file in the job folder to use in place of photos, if any.

    ``mesh_unit`` is what one of its numbers means; ``up`` and ``front`` say which way it
    stands, as an axis of the mesh or three numbers; up may be "find". ``landmarks`` puts
    landmarks right by hand: ``"left armpit" = [x, y, z]`` in millimetres on the body as it was
    found, before any reshaping.

    With ``adapt`` the body is reshaped until its tape measures are those of ``[wearer.tape]``.
    ``from_tape`` builds a plain body from that list alone, where there are neither photos nor a
    mesh, and names whose survey sizes fill in what the list leaves out; ``tape_part`` is what
    of it is kept.
    """

    from_mesh: str | None = None
    mesh_unit: Literal["mm", "cm", "m", "in"] | None = None
    up: _UpWay | None = None
    front: _Way | None = None
    stand: StandSection | None = None
    landmarks: dict[str, tuple[Length, Length, Length]] = Field(default_factory=dict)
    adapt: bool = False
    from_tape: Literal["men", "women"] | None = None
    tape_part: BodyPart = "torso"

    @model_validator(mode="after")
    def _stands_one_way(self) -> BodySection:
        if self.from_mesh is not None and self.from_tape is not None:
            raise MisfitError(("from_mesh", "from_tape"), "Give either from_mesh or from_tape.")
        if self.stand is not None and (self.up is not None or self.front is not None):
            raise MisfitError(
                ("up", "front", "stand"),
                "Give either up and front, or the three points of [body.stand].",
            )
        if self.front is not None and self.up is None:
            raise MisfitError(("front",), 'Give up together with front, as up = "z".')
        if isinstance(self.up, tuple) and self.front is None:
            raise MisfitError(("up",), "Give front together with an up of three numbers.")
        return self


class GirthSection(Section):
    """A ``[[girth]]``: one more girth to measure, told in exactly one of three ways."""

    name: Name
    height_mm: Length | None = None
    axis: str | None = None
    along: Fraction | None = None
    landmarks: tuple[str, str, str] | None = None

    @model_validator(mode="after")
    def _one_way_only(self) -> GirthSection:
        given = self.model_fields_set - {"name"}
        if given not in ({"height_mm"}, {"axis", "along"}, {"landmarks"}):
            raise MisfitError(
                tuple(sorted(given)),
                "Give a girth height_mm, or axis and along, or three landmarks.",
            )
        return self
