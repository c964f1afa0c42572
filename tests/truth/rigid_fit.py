"""Laying one surface on another by a rigid motion only: how far a scan is from its truth."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.rigid import RigidTransform

__all__ = ["fit_rigidly", "signed_distance_mm", "spread_points"]


def spread_points(mesh: TriangleMesh, count: int) -> Floats:
    """(count, 3) float mm: points spread evenly by area over a mesh, the same every time."""
    rng = np.random.default_rng(20)
    area = mesh.face_areas_mm2()
    face = rng.choice(len(area), size=count, p=area / area.sum())
    u, v = np.sqrt(rng.random(count)), rng.random(count)
    weights = np.stack([1 - u, u * (1 - v), u * v], axis=1)
    points: Floats = np.einsum("nk,nkd->nd", weights, mesh.corners[face])
    return points


def signed_distance_mm(points_mm: Floats, mesh: TriangleMesh) -> Floats:
    """(N,) float mm: distance to the mesh, positive outside it."""
    nearest, faces, distance = nearest_on_mesh(mesh, points_mm)
    outward = np.einsum("nd,nd->n", points_mm - nearest, mesh.face_normals_scaled()[faces])
    signed: Floats = np.where(outward >= 0, distance, -distance)
    return signed


def fit_rigidly(points_mm: Floats, mesh: TriangleMesh, *, rounds: int = 30) -> RigidTransform:
    """Return ``mesh_from_points``: the rigid motion, no scaling, that lays points on a mesh.

    Point-to-plane steps; points farther than three times the median are left out of a step, so that
    what the photos never saw does not pull.

    References
    ----------
    Y. Chen, G. Medioni, *Object modelling by registration of multiple range images*, Image and
    Vision Computing 10(3), 1992, doi:10.1016/0262-8856(92)90066-C.
    """
    pose = RigidTransform.identity()
    for _ in range(rounds):
        moved = pose.apply(points_mm)
        nearest, faces, distance = nearest_on_mesh(mesh, moved)
        near = distance <= 3.0 * np.median(distance) + 1e-9
        normals = mesh.face_normals_scaled()[faces]
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        moved, nearest, normals = moved[near], nearest[near], normals[near]
        centre = moved.mean(axis=0)
        rows = np.hstack([np.cross(moved - centre, normals), normals])
        gap = np.einsum("nd,nd->n", nearest - moved, normals)
        step = np.linalg.lstsq(rows, gap, rcond=None)[0]
        turn = Rotation.from_rotvec(step[:3]).as_matrix()
        pose = RigidTransform(turn, centre + step[3:] - turn @ centre) @ pose
        if np.abs(step[3:]).max() < 1e-5 and np.abs(step[:3]).max() < 1e-8:
            break
    return pose
