"""A patch opened along its seams: a disk whose border knows what each stretch of it is."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import EdgeTreatment, PatchDesign
from fitkit.patch.patch import InnerLine

__all__ = ["SEAM", "BorderStretch", "OpenedPatch", "edge_treatment", "is_seam", "seam_name"]

SEAM = "seam"
"""What both sides of a patch's only seam are called as edges."""

_PLAIN = EdgeTreatment()
_NUMBERED = re.compile(r"seam( opening \d+)?")


def seam_name(number: int, count: int) -> str:
    """Return what both sides of one seam of several are called; ``number`` counts from 1."""
    return SEAM if count == 1 else f"{SEAM} opening {number}"


def is_seam(line: str) -> bool:
    """Whether an edge of that name is a side of an opened seam."""
    return _NUMBERED.fullmatch(line) is not None


def edge_treatment(design: PatchDesign, line: str) -> EdgeTreatment:
    """Return what is done along an edge; what is told of ``"seam"`` holds for every seam."""
    if is_seam(line):
        line = SEAM
    return design.edges.get(line, _PLAIN)


@dataclass(frozen=True, slots=True, eq=False)
class BorderStretch:
    """A stretch of an opened patch's border.

    Attributes
    ----------
    line
        Name of its tape line, or of a seam, see :func:`seam_name`.
    vertices
        (N,) int: in order, the patch on the left; a whole round repeats its first vertex.
    arc_mm
        (N,) float: length along the form, counted on through the seam where the seam parts an
        edge, so that both parts of it still tell the same marks.
    neighbours
        ``(position in vertices, line)``.
    """

    line: str
    vertices: Ints
    arc_mm: Floats
    neighbours: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class OpenedPatch:
    """A patch as a disk: its mesh, its border once round, and the lines across it."""

    mesh: TriangleMesh
    border: tuple[BorderStretch, ...]
    inner_lines: tuple[InnerLine, ...]

    @property
    def round(self) -> Ints:
        """(B,) int: the border once round, its first vertex not repeated."""
        return np.concatenate([stretch.vertices[:-1] for stretch in self.border])
