"""A body that follows the handles of its shape, axes and landmarks with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.body.measure_gradient import surface_weights
from fitkit.body.shape_handles import ShapeHandles, shape_handles
from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["PulledBody"]

_ON_SURFACE_MM = 1.0
_COLUMN_AXES = ("trunk", "neck", "head")


@dataclass(frozen=True, slots=True, eq=False)
class PulledBody:
    """A body, its handles, and which landmarks lie on its surface."""

    start: Body
    handles: ShapeHandles
    on_surface: tuple[bool, ...]

    @classmethod
    def of(cls, body: Body) -> PulledBody:
        """Return a body with its handles."""
        marks = [mark.at_mm for mark in body.landmarks.values()]
        ends = [end for axis in body.axes.values() for end in (axis.start_mm, axis.end_mm)]
        further = np.array([*ends, *marks]).reshape(-1, 3)
        column = [name in _COLUMN_AXES for name in body.axes for _ in range(2)]
        column += [name in ("top", "bottom") for name in body.landmarks]
        _, _, distance = nearest_on_mesh(body.mesh, np.array(marks).reshape(-1, 3))
        return cls(
            body,
            shape_handles(body, further, column),
            tuple((distance < _ON_SURFACE_MM).tolist()),
        )

    def body(self, numbers: Floats) -> Body:
        """Return the body as the numbers of its handles shape it."""
        start = self.start
        shift = self.handles.shift_mm(numbers)
        count = len(start.mesh.vertices)
        mesh = start.mesh.with_vertices(start.mesh.vertices + shift[:count])
        moves = shift[count:]
        axes = {
            name: SegmentAxis(name, axis.start_mm + moves[2 * k], axis.end_mm + moves[2 * k + 1])
            for k, (name, axis) in enumerate(start.axes.items())
        }
        held = np.array([mark.at_mm for mark in start.landmarks.values()]).reshape(-1, 3)
        on, faces, _ = nearest_on_mesh(start.mesh, held)
        riding = surface_weights(start.mesh, on, faces) @ shift[:count]
        loose = moves[2 * len(axes) :]
        move = np.where(np.array(self.on_surface)[:, np.newaxis], riding, loose)
        landmarks = {
            name: Landmark(name, mark.at_mm + move[k], mark.confidence)
            for k, (name, mark) in enumerate(start.landmarks.items())
        }
        return Body(mesh, start.trust_mm, axes, landmarks, start.findings)
