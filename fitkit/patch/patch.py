"""The patch: a named piece of the form, cut out along tape lines."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.findings import Finding
from fitkit.geometry.arrays import Ints, frozen_ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import PatchDesign

__all__ = ["InnerLine", "Patch", "PatchEdge"]


@dataclass(frozen=True, slots=True, eq=False)
class PatchEdge:
    """A stretch of a patch's border along one tape line.

    Attributes
    ----------
    line
        Name of the tape line.
    vertices
        (N,) int: vertices of the patch's mesh in order, the patch on the left hand seen from
        outside. First and last are corners; an edge that is a whole round by itself repeats its
        first vertex at the end.
    neighbours
        Names of the tape lines that meet the border at each vertex from the other side or cross
        it there, as ``(position in vertices, line)``: where match marks go.
    beside
        The patches that lie on the other side, as ``(first, last, patch)`` with positions in
        vertices. A patch of the same form shares those very points; one that is cut from a form
        with another clearance lies beside it on this form's lines all the same.
    """

    line: str
    vertices: Ints
    neighbours: tuple[tuple[int, str], ...] = ()
    beside: tuple[tuple[int, int, str], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen_ints(self.vertices, (None,), "vertices"))


@dataclass(frozen=True, slots=True, eq=False)
class InnerLine:
    """A tape line that runs inside the patch. ``vertices`` (N,) int in order."""

    line: str
    vertices: Ints

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen_ints(self.vertices, (None,), "vertices"))


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A region of the form as its own mesh.

    Attributes
    ----------
    design
        What the maker asked for.
    mesh
        The region; its border runs exactly along the tape lines.
    loops
        Border loops, longest first, each a round of edges that join end to end; the patch is
        on the left of each seen from outside.
    inner_lines
        Tape lines crossing the inside, the seams among them that are named.
    findings
        What was noticed.
    """

    design: PatchDesign
    mesh: TriangleMesh
    loops: tuple[tuple[PatchEdge, ...], ...]
    inner_lines: tuple[InnerLine, ...] = ()
    findings: tuple[Finding, ...] = ()
