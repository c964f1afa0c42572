"""The flat patch: the blank and what the sheet has to give to become the plate."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.findings import Finding
from fitkit.geometry.arrays import Floats, Ints, frozen_floats, frozen_ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import PatchDesign

__all__ = ["FlatCut", "FlatEdge", "FlatLine", "FlatMount", "FlatPatch"]


@dataclass(frozen=True, slots=True, eq=False)
class FlatEdge:
    """A stretch of the blank's outline along one tape line (``"seam"`` along an opened seam).

    Attributes
    ----------
    line
        Name of the tape line.
    points_mm
        (N, 2) float mm on the flat, in order counter-clockwise round the blank, corners included.
    formed_arc_mm
        (N,) float mm: length along the edge on the form from its start, for equal match marks.
    neighbours
        ``(position in points_mm, line)`` where another tape line meets or crosses the edge.
    """

    line: str
    points_mm: Floats
    formed_arc_mm: Floats
    neighbours: tuple[tuple[int, str], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen_floats(self.points_mm, (None, 2), "points_mm"))
        object.__setattr__(
            self,
            "formed_arc_mm",
            frozen_floats(self.formed_arc_mm, (len(self.points_mm),), "formed_arc_mm"),
        )


@dataclass(frozen=True, slots=True, eq=False)
class FlatLine:
    """A tape line across the inside of the blank. ``points_mm`` (N, 2) float mm."""

    line: str
    points_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen_floats(self.points_mm, (None, 2), "points_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class FlatCut:
    """A relief cut as it opens on the blank.

    Attributes
    ----------
    name
        What both its sides are called as edges of the outline.
    tip_mm
        (2,) float mm: where it ends on the blank.
    length_mm
        On the form, from the edge to the tip.
    opening_mm
        Width of the V at the edge.
    stop_hole_mm
        Diameter of the hole drilled at the tip, 0 for none.
    """

    name: str
    tip_mm: Floats
    length_mm: float
    opening_mm: float
    stop_hole_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "tip_mm", frozen_floats(self.tip_mm, (2,), "tip_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class FlatMount:
    """The place of an attachment on the blank.

    Attributes
    ----------
    name
        The attachment's.
    footprint_mm
        (N, 2) float mm: the closed line within which it stands.
    holes_mm
        (M, 2) float mm: where its tabs are bolted or riveted, ``hole_mm`` their diameter.
    up_mm
        (2,) float mm: where its own mark "up" meets the footprint.
    """

    name: str
    footprint_mm: Floats
    holes_mm: Floats
    hole_mm: float
    up_mm: Floats

    def __post_init__(self) -> None:
        footprint = frozen_floats(self.footprint_mm, (None, 2), "footprint_mm")
        object.__setattr__(self, "footprint_mm", footprint)
        object.__setattr__(self, "holes_mm", frozen_floats(self.holes_mm, (None, 2), "holes_mm"))
        object.__setattr__(self, "up_mm", frozen_floats(self.up_mm, (2,), "up_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class FlatPatch:
    """A patch laid flat, seen from the plate's outside.

    Attributes
    ----------
    design
        What the maker asked for.
    form
        The patch on the form, opened along its seam: a disk. Same faces as ``flat``.
    flat_mm
        (V, 2) float mm: where each vertex of ``form`` lies on the flat; every face
        counter-clockwise.
    outline
        Edges of the blank, counter-clockwise, joining end to end and closing.
    inner_lines
        Tape lines across it.
    stretch
        (F, 2) float: principal stretches from flat to form, larger first; 1.05 means that the
        sheet must grow by 5 % in that direction, 0.95 that it must shrink by 5 %.
    stretch_direction
        (F, 2) float, unit: direction of the larger one on the flat.
    up
        (2,) float, unit: the direction on the flat that points up on the standing wearer.
    findings
        What was noticed.
    cuts
        Relief cuts; the outline runs down one side of each and up the other.
    mounts
        Where attachments stand on it.
    """

    design: PatchDesign
    form: TriangleMesh
    flat_mm: Floats
    outline: tuple[FlatEdge, ...]
    stretch: Floats
    stretch_direction: Floats
    up: Floats
    inner_lines: tuple[FlatLine, ...] = ()
    findings: tuple[Finding, ...] = ()
    cuts: tuple[FlatCut, ...] = ()
    mounts: tuple[FlatMount, ...] = ()

    def __post_init__(self) -> None:
        count = len(self.form.faces)
        object.__setattr__(
            self,
            "flat_mm",
            frozen_floats(self.flat_mm, (len(self.form.vertices), 2), "flat_mm"),
        )
        object.__setattr__(self, "stretch", frozen_floats(self.stretch, (count, 2), "stretch"))
        object.__setattr__(
            self,
            "stretch_direction",
            frozen_floats(self.stretch_direction, (count, 2), "stretch_direction"),
        )
        object.__setattr__(self, "up", frozen_floats(self.up, (2,), "up"))

    @property
    def faces(self) -> Ints:
        """(F, 3) int: the triangles of both the form and the flat."""
        return frozen_ints(self.form.faces, (None, 3), "faces")
