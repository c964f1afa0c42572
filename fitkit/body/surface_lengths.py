"""Lengths taken over the skin from landmark to landmark."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fitkit.body.body import Body
from fitkit.body.tape_reading import TapeMeasure
from fitkit.errors import MeshError
from fitkit.geometry.geodesic import join_paths, shortest_legs
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint

__all__ = ["surface_lengths", "way_over_skin"]

_LENGTHS = {
    "back length": ("back neck", "back waist"),
    "front length": ("front neck", "front waist"),
    "left shoulder length": ("left neck", "left shoulder"),
    "right shoulder length": ("right neck", "right shoulder"),
    "left arm length": ("left shoulder", "left elbow", "left wrist"),
    "right arm length": ("right shoulder", "right elbow", "right wrist"),
}


def surface_lengths(body: Body) -> Iterator[TapeMeasure]:
    """Yield the lengths whose landmarks the body has: the shortest ways over its surface.

    Back and front length run from the neck's base to the waist, shoulder length from the side of
    the neck to the shoulder point, arm length from there over the elbow to the wrist.

    References
    ----------
    Definitions in the sense of ISO 8559-1:2017 (from memory).
    """
    for name, marks in _LENGTHS.items():
        if not all(mark in body.landmarks for mark in marks):
            continue
        path = way_over_skin(body, marks)
        if path is None:
            continue
        yield TapeMeasure(
            name,
            "length",
            path.length_mm(),
            path,
            path.points_mm,
            f"over the surface, {' to '.join(marks)}",
        )


def way_over_skin(body: Body, marks: Sequence[str], *, closed: bool = False) -> SurfacePath | None:
    """Return the shortest way over the surface from landmark to landmark, back again if closed.

    None where the surface is too damaged to follow.
    """
    points = np.array([body.landmarks[mark].at_mm for mark in marks])
    on, faces, _ = nearest_on_mesh(body.mesh, points)
    places = [SurfacePoint(at, face) for at, face in zip(on, faces.tolist(), strict=True)]
    try:
        return join_paths(shortest_legs(body.mesh, places, closed=closed), closed=closed)
    except MeshError:
        return None
