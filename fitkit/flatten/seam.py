"""A patch opened along its seams: a disk whose border knows what each stretch of it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.patch import InnerLine

__all__ = ["BorderStretch", "OpenedPatch"]


@dataclass(frozen=True, slots=True, eq=False)
class BorderStretch:
    """A stretch of an opened patch's border.

    Attributes
    ----------
    line
        Name of its tape line, or of a seam, see :func:`fitkit.flatten.edge_names.seam_name`.
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
