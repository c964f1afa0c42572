"""Sections of ``job.toml`` about motion: what the wearer wants to do and how plates ride."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from fitkit.job.line_settings import AnchorSection
from fitkit.job.setting_words import Length, LengthAboveZero, LengthFromZero, Metal, Name, Section

__all__ = ["LamesSection", "MotionSection", "NeedSection", "PivotSection"]

_Angle: TypeAlias = Annotated[float, Field(gt=0.0, le=200.0)]


class MotionSection(Section):
    """``[motion]``: how far the joints are to go, and what carries each plate.

    ``wanted`` gives degrees by movement, ``"knee bend" = 120`` for both sides or ``"left knee
    bend"`` for one; ``needs`` names what the wearer wants to do (sit, kneel, arms overhead, reach
    across, walk, look round, or a ``[[need]]``); without either the published norms are the goal.
    ``rides`` gives the segment by patch, ``joints`` puts a joint's centre right; ``keep`` names
    patches that are not to be trimmed. ``soft_mm`` is how far flesh gives way under a plate,
    ``tolerance_mm`` how much closer than at rest two plates may come, ``margin_mm`` what a trim
    takes beyond what is touched.
    """

    norms: Literal["AAOS", "AMA", "CDC"] = "AAOS"
    needs: list[str] = Field(default_factory=list)
    wanted: dict[str, _Angle] = Field(default_factory=dict)
    rides: dict[str, str] = Field(default_factory=dict)
    joints: dict[str, tuple[Length, Length, Length]] = Field(default_factory=dict)
    keep: list[str] = Field(default_factory=list)
    step_deg: Annotated[float, Field(gt=0.0, le=15.0)] = 5.0
    tolerance_mm: LengthFromZero = 0.5
    soft_mm: LengthFromZero = 8.0
    margin_mm: LengthFromZero = 2.0


class NeedSection(Section):
    """A ``[[need]]``: something the wearer wants to do, as degrees by movement."""

    name: Name
    takes: Annotated[dict[str, _Angle], Field(min_length=1)]


class LamesSection(Section):
    """A ``[[lames]]`` row: overlapping strips that share a joint's turn, from the trunk's side out.

    `fitkit lames` writes it. ``gap_mm`` is how far an edge may slip out from under its neighbour;
    ``hole_mm`` the diameter of pivot and slide holes; ``rivet_metal`` what their rivets are of.
    """

    name: Name
    of: Annotated[list[str], Field(min_length=1)]
    joint: str
    hole_mm: LengthAboveZero = 3.5
    rivet_metal: Metal = ""
    gap_mm: LengthFromZero = 0.0


class PivotSection(Section):
    """A ``[[pivot]]``: a patch that swings on what carries it, as a visor or a knee's wing does.

    It goes by ``share`` of the turn of ``joint``, about that joint's own direction; the carrier is
    the segment on the trunk's side of it, or that of ``[motion.rides]``. Without ``at`` the line is
    put where the plate slides most nearly into itself. ``screw_mm`` is the screw's or rivet's
    diameter, ``screw_metal`` what it is of.
    """

    patch: str
    joint: str
    at: AnchorSection | None = None
    share: Annotated[float, Field(gt=0.0, le=2.0)] = 1.0
    screw_mm: LengthAboveZero = 4.0
    screw_metal: Metal = ""
