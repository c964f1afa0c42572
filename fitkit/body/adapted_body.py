"""What reshaping a body to a tape list gave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.body.body import Body
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["AdaptedBody", "AdaptedMeasure"]


@dataclass(frozen=True, slots=True)
class AdaptedMeasure:
    """One measure of the tape list: as wanted, on the body before, on the body after."""

    name: str
    wanted_mm: float
    before_mm: float
    after_mm: float

    @property
    def off_mm(self) -> float:
        """After less wanted."""
        return self.after_mm - self.wanted_mm


@dataclass(frozen=True, slots=True, eq=False)
class AdaptedBody:
    """What :func:`adapt` made.

    Attributes
    ----------
    body
        The reshaped body: the same faces over shifted vertices, axes and landmarks shifted
        along, so that what is drawn by them carries over.
    measures
        A row for each measure of the list that the body has.
    shift_mm
        (V, 3) float mm: how far each vertex went.
    """

    body: Body
    measures: tuple[AdaptedMeasure, ...]
    shift_mm: Floats

    def __post_init__(self) -> None:
        rows = len(self.body.mesh.vertices)
        object.__setattr__(self, "shift_mm", frozen_floats(self.shift_mm, (rows, 3), "shift_mm"))

    def distance_mm(self) -> Floats:
        """(V,) float mm: shift along the surface's own normal, positive where the body grew."""
        before = self.body.mesh.with_vertices(self.body.mesh.vertices - self.shift_mm)
        along: Floats = np.einsum("vi,vi->v", before.vertex_normals(), self.shift_mm)
        return along
