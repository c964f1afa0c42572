"""A set of relief cuts and what it buys."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.flatten.overlap import overlap_area_mm2
from fitkit.flatten.slit_disk import FlatDisk, StraightCut, slit_disk
from fitkit.flatten.stretch import stretch_field
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import boundary_loops, components

__all__ = ["CutPlan", "Solve", "lay_flat"]

Solve = Callable[[TriangleMesh, Floats], Floats]
"""From a disk and a start without flips, (V, 2) mm, to its flat map of least distortion."""


@dataclass(frozen=True, slots=True, eq=False)
class CutPlan:
    """A set of cuts and what it buys.

    Attributes
    ----------
    cuts
        Straight on the flat map of the disk that was searched.
    strain
        Largest strain either way when growing and shrinking are balanced.
    overlap_mm2
        Area on which a piece lies over itself once flat.
    length_mm
        Of all cuts, on the form.
    pieces
        How many the patch falls into.
    laid
        Per piece its outline on the flat, (N, 2) mm each.
    """

    cuts: tuple[StraightCut, ...]
    strain: float
    overlap_mm2: float
    length_mm: float
    pieces: int
    laid: tuple[Floats, ...] = ()

    def meets(self, limit: float) -> bool:
        """Whether it lies flat within a strain and can be cut from one sheet."""
        return self.strain <= limit and self.overlap_mm2 <= 0.0


def lay_flat(disk: FlatDisk, cuts: Sequence[StraightCut], solve: Solve) -> CutPlan | None:
    """Return what the cuts buy, or None where they cannot be cut."""
    if not cuts:
        mesh, start, length = disk.mesh, disk.flat_mm, 0.0
    else:
        slit = slit_disk(disk, cuts)
        if slit is None:
            return None
        mesh, start = slit.mesh, slit.start_mm
        first = np.full(int(slit.before.max()) + 1, -1)
        first[slit.before[::-1]] = np.arange(len(slit.before))[::-1]
        length = sum(
            float(np.linalg.norm(np.diff(mesh.vertices[first[chain]], axis=0), axis=1).sum())
            for chain in slit.chains
        )
    label = components(mesh)
    strain = overlap = 0.0
    laid = []
    for piece in range(int(label.max()) + 1):
        part, used = mesh.faces_only(label == piece)
        flat = solve(part, start[used])
        rings = boundary_loops(part)
        if len(rings) != 1:
            return None
        outline = flat[rings[0]]
        stretch, _ = stretch_field(part, flat)
        strain = max(strain, float(np.sqrt(stretch.max() / stretch.min()) - 1.0))
        overlap += overlap_area_mm2(flat, part.faces, outline)
        laid.append(outline)
    return CutPlan(tuple(cuts), strain, overlap, length, len(laid), tuple(laid))
