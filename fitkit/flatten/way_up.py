"""Which way on the blank is up on the standing wearer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["WayUp", "way_up"]

# A plate whose mean slope is less than this lies nearly level: its up means little to a maker.
_LEVEL = np.sin(np.radians(15.0))


@dataclass(frozen=True, slots=True, eq=False)
class WayUp:
    """A direction on the flat and what it points to on the wearer.

    ``direction`` is (2,) float, unit. ``shown`` is ``"up"``; ``"front"`` for a plate that lies
    nearly level; ``"any"`` for one that has neither, such as a ball with a small opening.
    """

    direction: Floats
    shown: Literal["up", "front", "any"]

    def __post_init__(self) -> None:
        object.__setattr__(self, "direction", frozen_floats(self.direction, (2,), "direction"))


def way_up(form: TriangleMesh, flat_mm: Floats) -> WayUp:
    """Return the wearer's up on a flat map, or the front where the plate lies nearly level."""
    for towards, shown in (((0.0, 0.0, 1.0), "up"), ((0.0, -1.0, 0.0), "front")):
        mean = mean_flat_direction(form, flat_mm, np.array(towards))
        length = float(np.linalg.norm(mean))
        if length >= _LEVEL:
            return WayUp(mean / length, "up" if shown == "up" else "front")
    return WayUp(np.array([0.0, 1.0]), "any")


def mean_flat_direction(form: TriangleMesh, flat_mm: Floats, towards: Floats) -> Floats:
    """Return (2,): the mean over the flat of the gradient of height along ``towards``.

    ``towards`` is (3,) unit in the world. The result's length is 1 for a plane along it, and near
    0 for a plate square to it or one whose two halves point against each other.
    """
    height = form.vertices @ np.asarray(towards, dtype=np.float64)
    p = flat_mm[form.faces]
    h = height[form.faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    h1, h2 = h[:, 1] - h[:, 0], h[:, 2] - h[:, 0]
    # Gradient times twice the area, so that the sum needs no division face by face.
    gradient = np.stack([h1 * e2[:, 1] - h2 * e1[:, 1], h2 * e1[:, 0] - h1 * e2[:, 0]], axis=1)
    double_area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    mean: Floats = gradient.sum(axis=0) / double_area.sum()
    return mean
