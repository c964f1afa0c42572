"""What the maker draws: anchors, tape lines and patches, as plain values.

These are the words of ``job.toml`` turned into types; laying them on a form is the work
of :mod:`fitkit.patch.tape_line` and :mod:`fitkit.patch.patch`. Angles are radians here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from fitkit.body.side import Side
from fitkit.materials.forming import Ease, Forming

__all__ = [
    "Anchor",
    "AxisAnchor",
    "BetweenAnchor",
    "CutDesign",
    "EdgeKind",
    "EdgeTreatment",
    "GeodesicLine",
    "Grain",
    "HeightAnchor",
    "KeepOut",
    "LandmarkAnchor",
    "LevelLine",
    "LineAnchor",
    "LinedPlace",
    "MirroredLine",
    "PaddedPlace",
    "Padding",
    "ParallelLine",
    "PatchDesign",
    "PointAnchor",
    "RangePlace",
    "RivetRow",
    "RoundLine",
    "RoundPlace",
    "SymmetryLine",
    "TapeLineDesign",
    "ThroughLine",
    "Towards",
    "lines_needed",
]


@dataclass(frozen=True, slots=True)
class LandmarkAnchor:
    """At a landmark of the body, by name."""

    landmark: str


@dataclass(frozen=True, slots=True)
class HeightAnchor:
    """Where a level ray from the trunk's axis leaves the surface.

    ``height_mm`` above the floor; ``bearing_rad`` 0 is the front, a quarter turn the wearer's
    left, a half turn the back.
    """

    height_mm: float
    bearing_rad: float


@dataclass(frozen=True, slots=True)
class BetweenAnchor:
    """As :class:`HeightAnchor`, the height told by two landmarks: it goes with any body.

    ``part`` 0 is the height of the first landmark, 1 that of the second; it may lie beyond both.
    """

    between: tuple[str, str]
    part: float
    bearing_rad: float


@dataclass(frozen=True, slots=True)
class AxisAnchor:
    """Where a ray square to a limb's axis leaves the surface.

    ``along`` runs from 0 at the axis' start to 1 at its end; ``bearing_rad`` as in
    :meth:`fitkit.body.body.SegmentAxis.bearing`.
    """

    axis: str
    along: float
    bearing_rad: float


@dataclass(frozen=True, slots=True)
class PointAnchor:
    """The surface point nearest to a point in space."""

    x_mm: float
    y_mm: float
    z_mm: float


@dataclass(frozen=True, slots=True)
class LineAnchor:
    """A place on another tape line, where a line is to end or pass.

    At most one of the two is set: ``along`` is a fraction of the other line's length from its
    start (a level round starts at the front and runs towards the wearer's left, a symmetry
    line starts at the top and runs down the front), ``crossing`` names a third line that meets
    it there. With neither, it is the place nearest to the anchor before, or for a first
    anchor to the one after.
    """

    line: str
    along: float | None = None
    crossing: str | None = None


Anchor: TypeAlias = (
    LandmarkAnchor | HeightAnchor | BetweenAnchor | AxisAnchor | PointAnchor | LineAnchor
)


@dataclass(frozen=True, slots=True)
class LevelLine:
    """The closed round where a plane square to an axis meets the surface.

    For the trunk give ``height_mm``, or two landmarks ``between`` whose heights it lies at a
    ``part`` of the way, 0 at the first; for any other axis ``along`` (0 to 1). Exactly one of
    the three is set. ``tilt_rad`` tips the plane about the wearer's left-right direction, the
    front going down when positive.
    """

    name: str
    axis: str = "trunk"
    height_mm: float | None = None
    along: float | None = None
    tilt_rad: float = 0.0
    between: tuple[str, str] | None = None
    part: float = 0.5


@dataclass(frozen=True, slots=True)
class GeodesicLine:
    """The shortest line over the surface from anchor to anchor, leg by leg."""

    name: str
    through: tuple[Anchor, ...]
    closed: bool = False


@dataclass(frozen=True, slots=True)
class ThroughLine:
    """A smooth line over the surface through the anchors."""

    name: str
    through: tuple[Anchor, ...]
    closed: bool = False


@dataclass(frozen=True, slots=True)
class SymmetryLine:
    """Where the symmetry plane x = 0 meets the surface: one closed round, front and back."""

    name: str


Towards: TypeAlias = Literal["up", "down", "left", "right", "front", "back", "in", "out"]
"""A side of a tape line: by a direction of the wearer's, or for a closed line its in or out."""


@dataclass(frozen=True, slots=True)
class ParallelLine:
    """The line at a distance over the surface from another, on the side that ``towards`` tells.

    ``in`` is the side of a closed line on which the parallel comes out shorter.
    """

    name: str
    of: str
    distance_mm: float
    towards: Towards


@dataclass(frozen=True, slots=True)
class MirroredLine:
    """Another line drawn again on the other side: its anchors mirrored, then laid there anew."""

    name: str
    of: str


@dataclass(frozen=True, slots=True)
class RoundLine:
    """All places of the surface at one distance from an anchor: a circle as a string draws it."""

    name: str
    centre: Anchor
    radius_mm: float


TapeLineDesign: TypeAlias = (
    LevelLine | GeodesicLine | ThroughLine | SymmetryLine | ParallelLine | MirroredLine | RoundLine
)


def lines_needed(design: TapeLineDesign) -> tuple[str, ...]:
    """Return the names of the other tape lines that a line leans on, each once."""
    match design:
        case ParallelLine() | MirroredLine():
            return (design.of,)
        case GeodesicLine() | ThroughLine():
            anchors: tuple[Anchor, ...] = design.through
        case RoundLine():
            anchors = (design.centre,)
        case _:
            return ()
    named = [
        name
        for anchor in anchors
        if isinstance(anchor, LineAnchor)
        for name in (anchor.line, anchor.crossing)
        if name is not None
    ]
    return tuple(dict.fromkeys(named))


@dataclass(frozen=True, slots=True)
class RangePlace:
    """A stretch of the trunk or a limb.

    ``start`` and ``end`` are landmarks, whose places along the axis bound it, or fractions of
    the axis. ``bearings_rad``, when given, narrows it to what lies from the first bearing round
    to the second, towards the wearer's left.
    """

    axis: str
    start: str | float
    end: str | float
    bearings_rad: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class RoundPlace:
    """All that lies within a radius of an anchor."""

    centre: Anchor
    radius_mm: float


@dataclass(frozen=True, slots=True)
class LinedPlace:
    """The region round an anchor that tape lines bound."""

    lines: tuple[str, ...]
    inside: Anchor


PaddedPlace: TypeAlias = RangePlace | RoundPlace | LinedPlace


@dataclass(frozen=True, slots=True)
class Padding:
    """A pad: where, how thick, and over what length beside it the thickness runs out."""

    name: str
    thickness_mm: float
    where: PaddedPlace
    runout_mm: float = 25.0


EdgeKind: TypeAlias = Literal["plain", "lap", "wire", "bead", "hem", "double hem", "flange", "trim"]


@dataclass(frozen=True, slots=True)
class RivetRow:
    """A row of rivets along an edge.

    ``rivet`` is a name such as ``"blind 3.2"``; the row is spread evenly, no further apart than
    ``pitch_mm`` (None: the middle of what is usual). With ``drill_later`` the neighbour's holes
    are left out, to be drilled through the lap's when the plates are laid together.
    """

    rivet: str
    pitch_mm: float | None = None
    drill_later: bool = False


@dataclass(frozen=True, slots=True)
class EdgeTreatment:
    """What is done along a plate's own edge.

    Attributes
    ----------
    kind
        ``plain``: nothing. ``lap``: a strip that lies under or over the neighbour. ``wire``:
        wrapped round a wire. ``bead``: rolled hollow. ``hem``, ``double hem``: folded flat once or
        twice. ``flange``: folded up. ``trim``: spare sheet to cut off after forming.
    size_mm
        Of a lap, hem or trim its width; of a wire or bead its (inside) diameter; of a flange its
        outside height.
    radius_mm, turned_rad
        A flange's inside radius and how far it is turned.
    rivets
        A row along it, in a lap or in the neighbour's lap.
    """

    kind: EdgeKind = "plain"
    size_mm: float = 0.0
    radius_mm: float = 0.0
    turned_rad: float = 0.5 * math.pi
    rivets: RivetRow | None = None


@dataclass(frozen=True, slots=True)
class Grain:
    """Which way a sheet's grain is to run on a plate.

    ``along`` is ``"up"`` (as near to upright as the surface lets it), ``"round"`` (level) or
    the name of the tape line to follow; ``turn_rad`` turns it from there, counter-clockwise
    seen from outside.
    """

    along: str = "up"
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class CutDesign:
    """A relief cut that the maker placed: from the patch's edge near one anchor to the other."""

    edge: Anchor
    tip: Anchor


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A round place that no advised relief cut may enter."""

    middle: Anchor
    within_mm: float


@dataclass(frozen=True, slots=True)
class PatchDesign:
    """A named piece of the form, bounded by tape lines.

    Attributes
    ----------
    name
        As written on the template.
    boundary
        Names of the tape lines round it, in any order. Without any, every line bounds it that
        it would have to cross.
    inside
        An anchor anywhere inside it; it tells which of the regions that the lines make is meant.
    more_inside
        Anchors in further regions that belong to it, as when two patches were joined.
    side, paired
        The wearer's side it is drawn on; a paired one is also made mirrored for the other side.
    seams
        For a patch that goes right round (a sleeve) or has holes: the tape lines along which it is
        opened. Where they leave borders apart the shortest ways are chosen.
    edges
        Treatment by tape line name (``"seam"`` for its seams, ``"cut"`` for its relief cuts);
        unnamed edges are plain.
    clearance_mm
        Padding, clothing and air under this plate; None takes the form's.
    forming
        How the sheet is brought to its form; None leaves it to the material.
    ease
        Whether the blank is laid out so that the sheet gives least at its worst spot, or least on
        the whole.
    hold
        Names of tape lines, at its edges or across it (``"seam"`` for its seams), that keep on the
        blank the length they have on the form.
    cuts
        Relief cuts.
    no_cuts
        Tape lines from which no relief cut may be advised, and places none may enter.
    cut_to
        Strain to which relief cuts are advised; None takes what the material bears.
    stop_hole_mm
        Diameter of the hole at each cut's tip; 0 for none, None by material and thickness.
    bridge_mm
        Radius of the ball by which this plate spans hollows of the body; 0 follows them.
    over
        Names of the patches that it lies over.
    contours
        Whether its template shows lines of equal stretch, light under all else.
    """

    name: str
    boundary: tuple[str, ...]
    inside: Anchor
    side: Side = Side.CENTRE
    paired: bool = False
    seams: tuple[str, ...] = ()
    material: str = "card"
    thickness_mm: float = 0.5
    clearance_mm: float | None = None
    bridge_mm: float = 0.0
    over: tuple[str, ...] = ()
    edges: Mapping[str, EdgeTreatment] = field(default_factory=dict)
    note: str = ""
    forming: Forming | None = None
    ease: Ease = "worst spot"
    hold: tuple[str, ...] = ()
    more_inside: tuple[Anchor, ...] = ()
    grain: Grain | None = None
    cuts: tuple[CutDesign, ...] = ()
    no_cuts: tuple[str | KeepOut, ...] = ()
    cut_to: float | None = None
    stop_hole_mm: float | None = None
    contours: bool = False
