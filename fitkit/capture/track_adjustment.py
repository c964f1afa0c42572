"""Bundle adjustment of cameras and many points, the lenses held.

Points do not touch each other in the normal equations, so they are eliminated block by
block and only the cameras are solved together. What holds position, upright and scale is a
belief about the cameras: how far each may be off from where another measurement put it,
told as the millimetres by which a few places of the world may seem moved to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.spatial.transform import Rotation

from fitkit.capture.body_features import FeatureTracks
from fitkit.capture.owner_sums import summed_by_owner
from fitkit.capture.small_systems import on_one_thread
from fitkit.geometry.arrays import Floats

__all__ = ["CameraBelief", "CameraPoses", "adjust_tracks", "misfits_px"]

_POSE = 6
_NEAREST_MM = 1.0
# Two places held in all directions fix the six unknowns of a pose once.
_PLACES = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class CameraPoses:
    """``camera_from_world`` of C cameras: (C, 3, 3) and (C, 3) mm."""

    rotations: Floats
    shifts_mm: Floats

    def moved(self, steps: Floats) -> CameraPoses:
        """Return the poses after (C, 6) steps: a turn after the rotation, then a shift."""
        turns = Rotation.from_rotvec(steps[:, :3]).as_matrix()
        return CameraPoses(turns @ self.rotations, self.shifts_mm + steps[:, 3:])

    def seen(self, points_mm: Floats) -> Floats:
        """(C, K, 3) float mm: (K, 3) world points in every camera."""
        local: Floats = np.einsum("cij,kj->cki", self.rotations, points_mm)
        return local + self.shifts_mm[:, None, :]


@dataclass(frozen=True, slots=True, eq=False)
class CameraBelief:
    """Where the cameras are believed to be.

    Attributes
    ----------
    poses
        The poses believed in.
    places_mm
        (K, 3) float mm: places of the world.
    sigma_mm
        (K,) float mm: how far each place may seem moved to a camera, one deviation along
        each axis.
    """

    poses: CameraPoses
    places_mm: Floats
    sigma_mm: Floats

    def weights(self) -> Floats:
        """(K,) float: of each place, so that all together hold a pose once."""
        return np.asarray(_PLACES / len(self.sigma_mm) / self.sigma_mm**2)

    def moved_mm(self, poses: CameraPoses) -> Floats:
        """(C, K, 3) float mm, camera frame: by how much the places seem moved."""
        return poses.seen(self.places_mm) - self.poses.seen(self.places_mm)


def misfits_px(poses: CameraPoses, points_mm: Floats, tracks: FeatureTracks) -> Floats:
    """(N, 2) float: predicted minus seen, in the tracks' own pixels (``sigma``)."""
    local = np.einsum("nij,nj->ni", poses.rotations[tracks.camera], points_mm[tracks.point])
    local += poses.shifts_mm[tracks.camera]
    depth = np.maximum(local[:, 2:], _NEAREST_MM)
    misfits: Floats = (local[:, :2] / depth - tracks.rays) / tracks.sigma[:, None]
    return misfits


@on_one_thread
def adjust_tracks(
    poses: CameraPoses,
    points_mm: Floats,
    tracks: FeatureTracks,
    belief: CameraBelief,
    *,
    huber: float,
    max_rounds: int = 30,
) -> tuple[CameraPoses, Floats]:
    """Return the poses and points that fit sightings and belief best.

    Levenberg-Marquardt on Huber's cost: sightings further off than ``huber`` of their
    deviations pull with constant force only.

    References
    ----------
    B. Triggs, P. McLauchlan, R. Hartley, A. Fitzgibbon, "Bundle adjustment: a modern
    synthesis", Vision Algorithms: Theory and Practice, LNCS 1883, 2000, pp. 298-372,
    doi:10.1007/3-540-44480-7_21.
    """
    damping = 1e-4
    misfits = misfits_px(poses, points_mm, tracks)
    cost = _cost(misfits, poses, belief, huber)
    for _ in range(max_rounds):
        equations = _equations(poses, points_mm, tracks, belief, huber)
        gained = None
        while damping < 1e8:
            camera_steps, point_steps = equations.solve(damping)
            trial, trial_points = poses.moved(camera_steps), points_mm + point_steps
            trial_cost = _cost(misfits_px(trial, trial_points, tracks), trial, belief, huber)
            if trial_cost <= cost:
                gained = cost - trial_cost
                poses, points_mm, cost = trial, trial_points, trial_cost
                damping = max(damping / 10.0, 1e-9)
                break
            damping *= 8.0
        if gained is None or gained <= 1e-6 * cost:
            break
    return poses, points_mm


def _cost(misfits: Floats, poses: CameraPoses, belief: CameraBelief, huber: float) -> float:
    size = np.linalg.norm(misfits, axis=1)
    sightings = np.where(size <= huber, size**2, 2 * huber * size - huber**2).sum()
    held = ((belief.moved_mm(poses) ** 2).sum(axis=(0, 2)) * belief.weights()).sum()
    return float(sightings + held)


@dataclass(slots=True)
class _Equations:
    """Blocks of the normal matrix: cameras (C, 6, 6), points (P, 3, 3), and between (N, 3, 6)."""

    cameras: Floats
    points: Floats
    between: Floats
    camera_side: Floats
    point_side: Floats
    tracks: FeatureTracks

    def solve(self, damping: float) -> tuple[Floats, Floats]:
        """Return steps of cameras (C, 6) and points (P, 3)."""
        count, points_n = len(self.cameras), self.tracks.points_n
        cameras, points = self.cameras.copy(), self.points.copy()
        for blocks in (cameras, points):
            index = np.arange(blocks.shape[1])
            blocks[:, index, index] *= 1.0 + damping
        inverse = np.linalg.inv(points)
        folded = inverse[self.tracks.point] @ self.between
        starts = np.searchsorted(self.tracks.point, np.arange(points_n + 1))
        shape = (3 * points_n, _POSE * count)
        between = sp.bsr_matrix((self.between, self.tracks.camera, starts), shape=shape)
        through = sp.bsr_matrix((folded, self.tracks.camera, starts), shape=shape)
        reduced = -(between.T @ through).toarray()
        for camera in range(count):
            block = slice(_POSE * camera, _POSE * camera + _POSE)
            reduced[block, block] += cameras[camera]
        side = self.camera_side.ravel() - through.T @ self.point_side.ravel()
        # Symmetric scaling: millimetres and radians differ by 1e3.
        size = 1.0 / np.sqrt(np.maximum(np.diag(reduced), 1e-300))
        steps = size * np.linalg.solve(reduced * size[:, None] * size, size * side)
        rest = self.point_side - (between @ steps).reshape(-1, 3)
        return steps.reshape(-1, _POSE), np.einsum("pij,pj->pi", inverse, rest)


def _equations(
    poses: CameraPoses,
    points_mm: Floats,
    tracks: FeatureTracks,
    belief: CameraBelief,
    huber: float,
) -> _Equations:
    """Gather the normal equations of sightings and belief."""
    count, points_n = len(poses.rotations), tracks.points_n
    rotations = poses.rotations[tracks.camera]
    turned = np.einsum("nij,nj->ni", rotations, points_mm[tracks.point])
    local = turned + poses.shifts_mm[tracks.camera]
    depth = np.maximum(local[:, 2], _NEAREST_MM)
    x, y = local[:, 0] / depth, local[:, 1] / depth
    misfits = (np.stack([x, y], axis=1) - tracks.rays) / tracks.sigma[:, None]
    size = np.maximum(np.linalg.norm(misfits, axis=1), 1e-300)
    root = np.sqrt(np.minimum(1.0, huber / size))
    misfits *= root[:, None]
    scale = root / tracks.sigma / depth
    by_local = np.zeros((len(x), 2, 3))
    by_local[:, 0, 0] = by_local[:, 1, 1] = scale
    by_local[:, 0, 2], by_local[:, 1, 2] = -scale * x, -scale * y
    by_pose = np.empty((len(x), 2, _POSE))
    # d(turn x p) along g is g . (turn x p) = turn . (p x g).
    by_pose[:, :, :3] = np.cross(turned[:, None, :], by_local)
    by_pose[:, :, 3:] = by_local
    by_point = by_local @ rotations

    cameras = summed_by_owner(np.swapaxes(by_pose, 1, 2) @ by_pose, tracks.camera, count)
    camera_side = -summed_by_owner(np.einsum("nki,nk->ni", by_pose, misfits), tracks.camera, count)
    points = summed_by_owner(np.swapaxes(by_point, 1, 2) @ by_point, tracks.point, points_n)
    point_side = -summed_by_owner(
        np.einsum("nki,nk->ni", by_point, misfits), tracks.point, points_n
    )
    between = np.swapaxes(by_point, 1, 2) @ by_pose

    weights = belief.weights()
    moved = belief.moved_mm(poses)
    arms = np.einsum("cij,kj->cki", poses.rotations, belief.places_mm)
    slopes = np.zeros((*arms.shape, _POSE))
    slopes[..., :3] = np.cross(arms[:, :, None, :], np.eye(3))
    slopes[..., 3:] = np.eye(3)
    cameras += np.einsum("k,ckai,ckaj->cij", weights, slopes, slopes, optimize=True)
    camera_side -= np.einsum("k,ckai,cka->ci", weights, slopes, moved, optimize=True)
    return _Equations(cameras, points, between, camera_side, point_side, tracks)
