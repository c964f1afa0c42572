"""What the maker draws: anchors, tape lines and patches, as plain values.

These are the words of ``job.toml`` turned into types; laying them on a form is the work
of :mod:`fitkit.patch.tape_line` and :mod:`fitkit.patch.patch`. Angles are radians here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from fitkit.body.side import Side
from fitkit.materials.forming import Forming

__all__ = [
    "Anchor",
    "AxisAnchor",
    "EdgeTreatment",
    "GeodesicLine",
    "HeightAnchor",
    "LandmarkAnchor",
    "LevelLine",
    "PatchDesign",
    "PointAnchor",
    "SymmetryLine",
    "TapeLineDesign",
    "ThroughLine",
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


Anchor: TypeAlias = LandmarkAnchor | HeightAnchor | AxisAnchor | PointAnchor


@dataclass(frozen=True, slots=True)
class LevelLine:
    """The closed round where a plane square to an axis meets the surface.

    For the trunk give ``height_mm``; for any other axis ``along`` (0 to 1). Exactly one of
    the two is set. ``tilt_rad`` tips the plane about the wearer's left-right direction, the
    front going down when positive.
    """

    name: str
    axis: str = "trunk"
    height_mm: float | None = None
    along: float | None = None
    tilt_rad: float = 0.0


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


TapeLineDesign: TypeAlias = LevelLine | GeodesicLine | ThroughLine | SymmetryLine


@dataclass(frozen=True, slots=True)
class EdgeTreatment:
    """What is added outside the plate's own edge.

    ``plain`` adds nothing; ``lap`` adds a strip of ``width_mm`` that lies under or over the
    neighbour and takes the rivets.
    """

    kind: Literal["plain", "lap"] = "plain"
    width_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class PatchDesign:
    """A named piece of the form, bounded by tape lines.

    Attributes
    ----------
    name
        As written on the template.
    boundary
        Names of the tape lines round it, in any order.
    inside
        An anchor anywhere inside it; it tells which of the regions that the lines make is meant.
    side, paired
        The wearer's side it is drawn on; a paired one is also made mirrored for the other side.
    seam
        For a patch that goes right round (a sleeve): the tape line along which it is opened. None
        lets the shortest way be chosen.
    edges
        Treatment by tape line name (``"seam"`` for the seam itself); unnamed edges are plain.
    clearance_mm
        Padding, clothing and air under this plate; None takes the form's.
    forming
        How the sheet is brought to its form; None leaves it to the material.
    hold
        Names of tape lines, at its edges or across it (``"seam"`` for the seam), that keep on the
        blank the length they have on the form.
    """

    name: str
    boundary: tuple[str, ...]
    inside: Anchor
    side: Side = Side.CENTRE
    paired: bool = False
    seam: str | None = None
    material: str = "card"
    thickness_mm: float = 0.5
    clearance_mm: float | None = None
    edges: Mapping[str, EdgeTreatment] = field(default_factory=dict)
    note: str = ""
    forming: Forming | None = None
    hold: tuple[str, ...] = ()
