"""Which way the wearer faces: the upright plane that best mirrors left onto right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["SymmetryPlane", "find_symmetry_plane", "surface_samples"]

_WIDEST_YAW_RAD = np.radians(22.0)
_SAMPLES = 4000


@dataclass(frozen=True, slots=True)
class SymmetryPlane:
    """An upright plane through ``normal . x = offset_mm``.

    Attributes
    ----------
    yaw_rad
        Turn about z that brings the plane's normal from +x, the wearer's left, to where it is.
    offset_mm
        Distance of the plane from the z axis along its normal.
    median_mm, high_mm
        Half and nine tenths of the surface lie closer than this to its own mirror image.
    sharpness
        How much worse the mirror image fits 10 degrees off, as a ratio; near 1 the shape does
        not say which way it faces.
    """

    yaw_rad: float
    offset_mm: float
    median_mm: float
    high_mm: float
    sharpness: float

    @property
    def normal(self) -> Floats:
        """(3,) float, unit: towards the wearer's left."""
        return np.array([np.cos(self.yaw_rad), np.sin(self.yaw_rad), 0.0])


def find_symmetry_plane(mesh: TriangleMesh) -> SymmetryPlane:
    """Return the upright plane about which a body, facing -y within 20 degrees, is most symmetric.

    A search over turn and shift with sample points, then a fit of the mirror image onto the
    surface that gives little weight to what has no counterpart (a bent arm, a hole bridged).

    Parameters
    ----------
    mesh
        Upright, z up.
    """
    points, normals = surface_samples(mesh)
    middle = points.mean(axis=0)
    tree = cKDTree(points)

    def misfit(yaw: float, offset: float, sample: Floats) -> float:
        reach = tree.query(_mirrored(sample, yaw, offset))[0]
        return float(np.minimum(reach, 60.0).mean())

    coarse = points[::5]
    best = (np.inf, 0.0, 0.0)
    for yaw in np.linspace(-_WIDEST_YAW_RAD, _WIDEST_YAW_RAD, 23):
        across = np.array([np.cos(yaw), np.sin(yaw), 0.0])
        for shift in np.arange(-80.0, 81.0, 10.0):
            offset = float(middle @ across + shift)
            best = min(best, (misfit(yaw, offset, coarse), float(yaw), offset))
    yaw, offset = best[1:]
    for _ in range(40):
        step = _improvement(points, normals, tree, yaw, offset)
        yaw, offset = yaw + step[0], offset + step[1]
        if abs(step[0]) < 1e-6 and abs(step[1]) < 1e-4:
            break
    yaw, offset = _polished(mesh, points, yaw, offset)

    def off_by(turn: float) -> float:
        across = np.array([np.cos(yaw + turn), np.sin(yaw + turn), 0.0])
        straight = np.array([np.cos(yaw), np.sin(yaw), 0.0])
        return misfit(yaw + turn, offset + float(middle @ (across - straight)), points)

    residual = nearest_on_mesh(mesh, _mirrored(points, yaw, offset))[2]
    sharpness = min(off_by(-0.175), off_by(0.175)) / max(off_by(0.0), 1e-9)
    median, high = np.percentile(residual, [50, 90])
    return SymmetryPlane(float(yaw), float(offset), float(median), float(high), sharpness)


def surface_samples(mesh: TriangleMesh) -> tuple[Floats, Floats]:
    """Return face centres, evenly by area and always the same, with their normals."""
    areas = np.cumsum(mesh.face_areas_mm2())
    wanted = (np.arange(_SAMPLES) + 0.5) / _SAMPLES * areas[-1]
    faces = np.minimum(np.searchsorted(areas, wanted), len(areas) - 1)
    scaled = mesh.face_normals_scaled()[faces]
    length = np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    return mesh.corners[faces].mean(axis=1), scaled / length


def _mirrored(points: Floats, yaw: float, offset: float) -> Floats:
    across = np.array([np.cos(yaw), np.sin(yaw), 0.0])
    flipped: Floats = points - 2.0 * (points @ across - offset)[:, np.newaxis] * across
    return flipped


def _improvement(
    points: Floats, normals: Floats, tree: cKDTree, yaw: float, offset: float
) -> Floats:
    """Return one robust Gauss-Newton step (turn, shift) of mirrored points onto tangent planes."""
    image = _mirrored(points, yaw, offset)
    _, partner = tree.query(image)
    return _step(points, image, points[partner], normals[partner], yaw, offset)


def _step(
    points: Floats, image: Floats, target: Floats, normal: Floats, yaw: float, offset: float
) -> Floats:
    across = np.array([np.cos(yaw), np.sin(yaw), 0.0])
    turned = np.array([-np.sin(yaw), np.cos(yaw), 0.0])
    gap = np.einsum("ni,ni->n", image - target, normal)
    # d image / d yaw and d image / d offset, seen along the target's normal
    height = points @ across - offset
    by_yaw = -2.0 * ((points @ turned) * (normal @ across) + height * (normal @ turned))
    by_offset = 2.0 * (normal @ across)
    spread = max(1.0, 1.4826 * float(np.median(np.abs(gap))))
    weight = np.maximum(1.0 - (gap / (4.0 * spread)) ** 2, 0.0) ** 2
    jacobian = np.column_stack([by_yaw, by_offset])
    matrix = jacobian.T @ (weight[:, np.newaxis] * jacobian)
    # The turn is scaled by a body's half width so that both unknowns are lengths.
    matrix += 1e-6 * np.diag([150.0**2, 1.0]) * max(weight.sum(), 1.0)
    step: Floats = -np.linalg.solve(matrix, jacobian.T @ (weight * gap))
    return np.clip(step, [-0.03, -10.0], [0.03, 10.0])


def _polished(mesh: TriangleMesh, points: Floats, yaw: float, offset: float) -> tuple[float, float]:
    """Finish against the surface itself in place of the sample points."""
    scaled = mesh.face_normals_scaled()
    unit = scaled / np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    for _ in range(4):
        image = _mirrored(points, yaw, offset)
        target, faces, _ = nearest_on_mesh(mesh, image)
        step = _step(points, image, target, unit[faces], yaw, offset)
        yaw, offset = yaw + float(step[0]), offset + float(step[1])
    return yaw, offset
