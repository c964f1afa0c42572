"""The line that shows on a patch which way the grain of its sheet is to run."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.path_through_places import path_through_places
from fitkit.geometry.straight_walk import unit_normals, walk_straight
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.patch.design import Grain
from fitkit.patch.form import Form
from fitkit.patch.lined_form import LinedForm
from fitkit.patch.tape_line import TapeLine

__all__ = ["grain_path"]

# The line reaches so far to either side, as a share of the root of the patch's area, if it can.
_REACHES = (0.35, 0.25, 0.17, 0.12)
_STEPS = 8
_CLEAR_MM = 2.0


def grain_path(
    form: Form, lined: LinedForm, region: Bools, lines: Sequence[TapeLine], grain: Grain
) -> SurfacePath | None:
    """Return a straight line on a form, amid a patch, that runs as its grain is to run.

    It is straight over the surface, so that it stays straight on a blank that bends one way.
    None where the patch is too narrow for any.

    Parameters
    ----------
    region
        (F,) bool: the patch's faces of the lined form.
    lines
        As laid on the form, for a grain that follows one of them.
    """
    used = np.unique(lined.mesh.faces[region])
    rim = used[lined.on_vertex[:, used].any(axis=0)]
    if len(rim) == 0:
        return None
    border = cKDTree(lined.mesh.vertices[rim])
    faces = np.flatnonzero(region)
    middles = lined.mesh.vertices[lined.mesh.faces[faces]].mean(axis=1)
    centre = int(np.argmax(border.query(middles)[0]))
    start, face = middles[centre], int(lined.source_face[faces[centre]])
    way = _direction(form, lines, grain, start, face)
    size = float(np.sqrt(lined.mesh.face_areas_mm2()[region].sum()))
    for share in _REACHES:
        reach = share * size * np.arange(1, _STEPS + 1)[:, None] / _STEPS
        ways = np.vstack([-reach[::-1] * way, reach * way])
        walks = walk_straight(
            form.mesh, np.repeat(start[None], len(ways), axis=0), np.full(len(ways), face), ways
        )
        clear = walks.whole.all() and border.query(walks.points_mm)[0].min() > _CLEAR_MM
        if clear and all(
            region[lined.face_at(SurfacePoint(point, int(at)))]
            for point, at in zip(walks.points_mm, walks.faces, strict=True)
        ):
            places = np.insert(walks.points_mm, _STEPS, start, axis=0)
            return path_through_places(form.mesh, places, np.insert(walks.faces, _STEPS, face))
    return None


def _direction(
    form: Form, lines: Sequence[TapeLine], grain: Grain, start: Floats, face: int
) -> Floats:
    """(3,) float, unit, in the triangle: the way that a grain tells at a place."""
    normal = unit_normals(form.mesh, np.array([face]))[0]
    up = np.array([0.0, 0.0, 1.0])
    if grain.along == "up":
        way = up
    elif grain.along == "round":
        way = np.cross(up, normal)
    else:
        (line,) = (line for line in lines if line.name == grain.along)
        points = line.path.round_points_mm
        nearest = int(np.linalg.norm(points[:-1] - start, axis=1).argmin())
        # Over a few steps, so that no single triangle's edge decides.
        low, high = max(nearest - 3, 0), min(nearest + 3, len(points) - 1)
        way = points[high] - points[low]
        there = unit_normals(form.mesh, line.path.faces[[nearest]])[0]
        way = _tipped(way, there, normal)
    flat = way - (way @ normal) * normal
    if np.linalg.norm(flat) < 1e-6:  # on level ground nothing is up: to the front, then
        flat = np.array([0.0, -1.0, 0.0]) - (-normal[1]) * normal
    flat /= np.linalg.norm(flat)
    turned: Floats = np.cos(grain.turn_rad) * flat + np.sin(grain.turn_rad) * np.cross(normal, flat)
    return turned


def _tipped(way: Floats, normal: Floats, other: Floats) -> Floats:
    """Turn a direction as the surface turns, from one normal straight to another."""
    axis, cos = np.cross(normal, other), float(normal @ other)
    if cos < -0.999:  # on the far side any turn will do
        return way
    tipped: Floats = way * cos + np.cross(axis, way) + axis * float(axis @ way) / (1.0 + cos)
    return tipped
