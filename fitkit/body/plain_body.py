"""The plain shape as a body: meshed, its landmarks and joints where they were built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import scipy.sparse as sp

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.body.body_levels import trunk_round
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.landmarks import level_points_mm
from fitkit.body.plain_shape import PlainShape
from fitkit.body.trunk_levels import UNDER_ARMPIT_MM
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["plain_body"]

_CELL_MM = 9.0
_EVENING_ROUNDS = 5
_MIRROR = np.array([-1.0, 1.0, 1.0])
# From the joint before to the joint after; and which way the landmark of the latter lies.
_BONES = {
    "forearm": ("elbow", "wrist"),
    "thigh": ("hip", "knee"),
    "lower leg": ("knee", "ankle"),
}
_SKIN = {
    "elbow": np.array([0.0, 1.0, 0.0]),
    "wrist": np.array([1.0, 0.0, 0.0]),
    "knee": np.array([0.0, -1.0, 0.0]),
    "ankle": np.array([1.0, 0.0, 0.0]),
}


def plain_body(sizes_mm: Mapping[str, float], *, cell_mm: float = _CELL_MM) -> Body:
    """Return a plain whole body of given lengths.

    Levels, joints and neck points lie where the lengths say, whether or not the shape would
    show them to one who searches; armpits, axes of the trunk, neck and arms are found on it.

    Parameters
    ----------
    sizes_mm
        Lengths in mm by the names of :func:`fitkit.body.survey.survey_names`, all of them.
    cell_mm
        Size of the cells it is meshed in.
    """
    shape = PlainShape(sizes_mm)
    body = body_of_mesh(_meshed(shape, cell_mm), settle=False)
    joints = shape.joints()
    axes, looks = dict(body.axes), shape.looks()
    for side, mirror in (("left", np.ones(3)), ("right", _MIRROR)):
        for name, (start, end) in _BONES.items():
            own = f"{side} {name}"
            axes[own] = SegmentAxis(own, joints[start] * mirror, joints[end] * mirror)
    looks |= {f"left {name}": (joints[name], way) for name, way in _SKIN.items()}
    for name in [name for name in looks if name.startswith("left ")]:
        inside, way = looks[name]
        looks[name.replace("left", "right")] = (inside * _MIRROR, way * _MIRROR)
    hits = SurfaceRays(body.mesh).first_hit(
        np.array([inside for inside, _ in looks.values()]),
        np.array([way for _, way in looks.values()]),
    )
    points = dict(zip(looks, hits.points_mm, strict=True))
    armpits = [mark.at_mm[2] for name, mark in body.landmarks.items() if name.endswith("armpit")]
    for level in ("chest", "waist", "hip"):
        # A tape passes under the arms, however high the breast.
        height_mm = min([sizes_mm[f"{level} height"], *(z - UNDER_ARMPIT_MM for z in armpits)])
        one = trunk_round(body.mesh, height_mm)
        if one is not None:
            points |= level_points_mm(level, one, body.axis("trunk").start_mm[:2])
    built = {name: Landmark(name, at) for name, at in points.items() if np.isfinite(at).all()}
    return replace(body, axes=axes, landmarks={**body.landmarks, **built})


def _meshed(shape: PlainShape, cell_mm: float) -> TriangleMesh:
    """Mesh one half from its field; the other is its mirror image, joined along x = 0."""
    from skimage import measure

    marching_cubes: Any = measure.marching_cubes
    low, high = shape.reach_mm(3 * cell_mm)
    counts = np.ceil((high - low) / cell_mm).astype(int) + 1
    axes: list[Floats] = [low[k] + cell_mm * np.arange(counts[k]) for k in range(3)]
    values = shape.field(np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1))
    points, faces, _, _ = marching_cubes(values, 0.0, spacing=(cell_mm,) * 3)
    points = points.astype(np.float64) + low
    faces = faces.astype(np.int64)
    on_plane = points[:, 0] < 1e-6
    points[on_plane, 0] = 0.0
    twin = np.arange(len(points))
    twin[~on_plane] = len(points) + np.arange(int((~on_plane).sum()))
    both = np.vstack([points, points[~on_plane] * _MIRROR])
    mesh = _evened(TriangleMesh(both, np.vstack([faces, twin[faces[:, ::-1]]])))
    return mesh if mesh.volume_mm3() > 0 else TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])


def _evened(mesh: TriangleMesh) -> TriangleMesh:
    """Return the mesh without the steps of its cells, hardly thinner.

    G. Taubin, A Signal Processing Approach to Fair Surface Design, SIGGRAPH 1995.
    """
    links = sp.csr_array(vertex_adjacency(mesh))
    mean = sp.diags_array(1.0 / np.asarray(links.sum(axis=1)).ravel()) @ links
    points = mesh.vertices
    for share in (0.5, -0.53) * _EVENING_ROUNDS:
        points = points + share * (mean @ points - points)
    # The soles stay flat on the floor.
    height = mesh.vertices[:, 2]
    points[:, 2] = np.where(height < 1.0, height, np.maximum(points[:, 2], 0.0))
    return mesh.with_vertices(points)
