"""Bundle adjustment of cameras, lenses and marker sheets at once.

Every measurement is one row: how far, along one direction in one photo, the image of a
printed point lies from where it was measured. A saddle point gives two rows, a station on
a tag's edge one. Unknowns are each lens (focal length, centre, k1, k2, p1, p2), each
camera's pose and *growth* (the pixels by which black squares seem larger, the same along
every edge of a photo) and each sheet's pose. Nothing is assumed about how the sheets lie.

Photos do not touch each other in the normal equations, so they are eliminated block by
block and only lenses and sheets are solved together.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.capture.photo_network import GROWTH, LENS_PARAMETERS, LensPriors, Network, Sightings
from fitkit.capture.small_systems import on_one_thread
from fitkit.geometry.arrays import Bools, Floats

__all__ = ["adjust", "camera_scale_sigma", "residuals_px", "residuals_with_jacobian"]

_POSE = 6
_CAMERA = _POSE + 1
_ROW = LENS_PARAMETERS + _CAMERA + _POSE
_OF_LENS = slice(0, LENS_PARAMETERS)
_OF_CAMERA = slice(LENS_PARAMETERS, LENS_PARAMETERS + _CAMERA)
_OF_SHEET = slice(LENS_PARAMETERS + _CAMERA, _ROW)
_NEAREST_MM = 1.0


def _in_camera(network: Network, sightings: Sightings) -> tuple[Floats, Floats, Floats]:
    """Return per row: printed point turned into the world, turned into the camera, and there."""
    camera, sheet = sightings.camera, sightings.sheet
    turned = np.einsum("nij,nj->ni", network.sheet_rotations[sheet], sightings.points_mm)
    in_world = turned + network.sheet_shifts_mm[sheet]
    seen = np.einsum("nij,nj->ni", network.camera_rotations[camera], in_world)
    return turned, seen, seen + network.camera_shifts_mm[camera]


def residuals_px(network: Network, sightings: Sightings) -> Floats:
    """Return (N,) float px: predicted minus measured along each row's direction."""
    points = _in_camera(network, sightings)[2]
    focal, cx, cy, k1, k2, p1, p2 = network.lenses[network.lens_of_camera[sightings.camera]].T
    depth = np.maximum(points[:, 2], _NEAREST_MM)
    x, y = points[:, 0] / depth, points[:, 1] / depth
    r2 = x * x + y * y
    radial = 1.0 + k1 * r2 + k2 * r2 * r2
    u = focal * (x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + cx
    v = focal * (y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + cy
    difference = np.stack([u, v], axis=1) - sightings.pixels_px
    along: Floats = (difference * sightings.directions).sum(axis=1)
    return along + sightings.grows * network.growths_px[sightings.camera]


def residuals_with_jacobian(network: Network, sightings: Sightings) -> tuple[Floats, Floats]:
    """Return the residuals (N,) and their slopes (N, 20) by lens (7), camera (7), sheet (6).

    A pose's unknowns are a turn applied after its rotation, then its shift.
    """
    turned, seen, points = _in_camera(network, sightings)
    lens = network.lenses[network.lens_of_camera[sightings.camera]]
    focal, cx, cy, k1, k2, p1, p2 = lens.T
    depth = np.maximum(points[:, 2], _NEAREST_MM)
    x, y = points[:, 0] / depth, points[:, 1] / depth
    r2 = x * x + y * y
    radial = 1.0 + k1 * r2 + k2 * r2 * r2
    xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    nu, nv = sightings.directions.T
    residuals = (
        nu * (focal * xd + cx - sightings.pixels_px[:, 0])
        + nv * (focal * yd + cy - sightings.pixels_px[:, 1])
        + sightings.grows * network.growths_px[sightings.camera]
    )

    slopes = np.empty((len(sightings), _ROW))
    slopes[:, 0] = nu * xd + nv * yd
    slopes[:, 1], slopes[:, 2] = nu, nv
    radially = focal * (nu * x + nv * y)
    slopes[:, 3] = radially * r2
    slopes[:, 4] = radially * r2 * r2
    slopes[:, 5] = focal * (nu * 2 * x * y + nv * (r2 + 2 * y * y))
    slopes[:, 6] = focal * (nu * (r2 + 2 * x * x) + nv * 2 * x * y)

    # Slope of the radial factor by r2, twice; the mixed slopes of xd and yd are the same.
    bend = 2 * (k1 + 2 * k2 * r2)
    mixed = bend * x * y + 2 * p1 * x + 2 * p2 * y
    by_x = focal * (nu * (radial + bend * x * x + 2 * p1 * y + 6 * p2 * x) + nv * mixed)
    by_y = focal * (nu * mixed + nv * (radial + bend * y * y + 6 * p1 * y + 2 * p2 * x))
    by_point = np.stack([by_x, by_y, -(by_x * x + by_y * y)], axis=1) / depth[:, None]

    camera = slopes[:, _OF_CAMERA]
    # d(turn x p) along g is g . (turn x p) = turn . (p x g).
    camera[:, :3] = np.cross(seen, by_point)
    camera[:, 3:6] = by_point
    camera[:, GROWTH] = sightings.grows
    by_world = np.einsum("ni,nij->nj", by_point, network.camera_rotations[sightings.camera])
    sheet = slopes[:, _OF_SHEET]
    sheet[:, :3] = np.cross(turned, by_world)
    sheet[:, 3:6] = by_world
    return residuals, slopes


@dataclass(slots=True)
class _NormalEquations:
    """Blocks of the normal matrix: cameras (C, 7, 7), the rest (R, R), and between."""

    cameras: Floats
    between: Floats
    rest: Floats
    camera_side: Floats
    rest_side: Floats

    def solve(self, damping: float, free: Bools) -> tuple[Floats, Floats]:
        """Return steps of cameras (C, 7) and rest (R,) with the held ones at 0."""
        cameras = self.cameras.copy()
        index = np.arange(_CAMERA)
        cameras[:, index, index] *= 1.0 + damping
        rest = self.rest[np.ix_(free, free)].copy()
        index = np.arange(len(rest))
        rest[index, index] *= 1.0 + damping
        between = self.between[:, :, free]
        inverse = np.linalg.inv(cameras)
        folded = inverse @ between
        reduced = rest - np.einsum("cki,ckj->ij", between, folded, optimize=True)
        side = self.rest_side[free] - np.einsum("cki,ck->i", folded, self.camera_side)
        rest_step = np.zeros(len(self.rest))
        # Symmetric scaling: millimetres, radians and lens constants differ by 1e6.
        size = 1.0 / np.sqrt(np.maximum(np.diag(reduced), 1e-300))
        scaled = reduced * size[:, None] * size
        rest_step[free] = size * np.linalg.solve(scaled, size * side)
        camera_step = np.einsum("cij,cj->ci", inverse, self.camera_side) - folded @ rest_step[free]
        return camera_step, rest_step


def _normal_equations(
    network: Network, sightings: Sightings, priors: LensPriors, weights: Floats
) -> _NormalEquations:
    """Gather the normal equations of the rows with the given weights, and of the priors."""
    lenses, cameras, sheets = (
        len(network.lenses),
        len(network.camera_rotations),
        len(network.sheet_rotations),
    )
    size = LENS_PARAMETERS * lenses + _POSE * sheets
    result = _NormalEquations(
        np.zeros((cameras, _CAMERA, _CAMERA)),
        np.zeros((cameras, _CAMERA, size)),
        np.zeros((size, size)),
        np.zeros((cameras, _CAMERA)),
        np.zeros(size),
    )
    residuals, slopes = residuals_with_jacobian(network, sightings)
    root = np.sqrt(weights)
    residuals, slopes = residuals * root, slopes * root[:, None]
    changes = np.flatnonzero((np.diff(sightings.camera) != 0) | (np.diff(sightings.sheet) != 0))
    bounds = np.concatenate([[0], changes + 1, [len(sightings)]])
    for start, stop in pairwise(bounds.tolist()):
        camera, sheet = int(sightings.camera[start]), int(sightings.sheet[start])
        first = LENS_PARAMETERS * int(network.lens_of_camera[camera])
        lens = slice(first, first + LENS_PARAMETERS)
        first = LENS_PARAMETERS * lenses + _POSE * sheet
        pose = slice(first, first + _POSE)
        # All products of the view's 20 slopes and its residuals at once.
        block = slopes[start:stop].T @ slopes[start:stop]
        side = slopes[start:stop].T @ residuals[start:stop]
        result.cameras[camera] += block[_OF_CAMERA, _OF_CAMERA]
        result.between[camera, :, lens] += block[_OF_CAMERA, _OF_LENS]
        result.between[camera, :, pose] += block[_OF_CAMERA, _OF_SHEET]
        result.rest[lens, lens] += block[_OF_LENS, _OF_LENS]
        result.rest[lens, pose] += block[_OF_LENS, _OF_SHEET]
        result.rest[pose, lens] += block[_OF_SHEET, _OF_LENS]
        result.rest[pose, pose] += block[_OF_SHEET, _OF_SHEET]
        result.camera_side[camera] -= side[_OF_CAMERA]
        result.rest_side[lens] -= side[_OF_LENS]
        result.rest_side[pose] -= side[_OF_SHEET]

    result.cameras[:, GROWTH, GROWTH] += priors.growth_sigma_px**-2
    result.camera_side[:, GROWTH] -= network.growths_px * priors.growth_sigma_px**-2
    stiffness = np.where(priors.sigmas > 0, priors.sigmas, np.inf).ravel() ** -2.0
    index = np.arange(LENS_PARAMETERS * lenses)
    result.rest[index, index] += stiffness
    result.rest_side[index] -= stiffness * (network.lenses - priors.values).ravel()
    return result


def _cost(
    network: Network, residuals: Floats, sigma_px: Floats, priors: LensPriors, huber: float
) -> float:
    """Return Huber's cost of the rows plus that of the priors."""
    size = np.abs(residuals) / sigma_px
    rows = np.where(size <= huber, size**2, 2 * huber * size - huber**2).sum()
    stiffness = np.where(priors.sigmas > 0, priors.sigmas, np.inf) ** -2.0
    lens = (stiffness * (network.lenses - priors.values) ** 2).sum()
    return float(rows + lens + ((network.growths_px / priors.growth_sigma_px) ** 2).sum())


def _free(network: Network, sightings: Sightings, priors: LensPriors) -> Bools:
    """Return which lens and sheet unknowns may move: one sheet is held, or all could drift."""
    rows = np.bincount(sightings.sheet, minlength=len(network.sheet_rotations))
    free_sheets = np.ones((len(rows), _POSE), dtype=np.bool_)
    free_sheets[rows.argmax()] = False
    return np.concatenate([(priors.sigmas > 0).ravel(), free_sheets.ravel()])


@on_one_thread
def adjust(
    network: Network,
    sightings: Sightings,
    priors: LensPriors,
    *,
    huber: float = 2.0,
    max_rounds: int = 60,
) -> Network:
    """Return the network that fits the sightings best.

    Levenberg-Marquardt on Huber's cost: rows further off than ``huber`` deviations pull
    with constant force only. Every camera and every sheet must have sightings that fix it.

    References
    ----------
    B. Triggs, P. McLauchlan, R. Hartley, A. Fitzgibbon, "Bundle adjustment: a modern
    synthesis", Vision Algorithms: Theory and Practice, LNCS 1883, 2000, pp. 298-372,
    doi:10.1007/3-540-44480-7_21.
    """
    free = _free(network, sightings, priors)
    lens_count = network.lenses.size
    damping = 1e-4
    residuals = residuals_px(network, sightings)
    cost = _cost(network, residuals, sightings.sigma_px, priors, huber)
    for _ in range(max_rounds):
        size = np.maximum(np.abs(residuals) / sightings.sigma_px, 1e-300)
        weights = np.minimum(1.0, huber / size) / sightings.sigma_px**2
        equations = _normal_equations(network, sightings, priors, weights)
        gained = None
        while damping < 1e8:
            camera_step, rest_step = equations.solve(damping, free)
            trial = network.moved(
                rest_step[:lens_count].reshape(-1, LENS_PARAMETERS),
                camera_step,
                rest_step[lens_count:].reshape(-1, _POSE),
            )
            trial_residuals = residuals_px(trial, sightings)
            trial_cost = _cost(trial, trial_residuals, sightings.sigma_px, priors, huber)
            if trial_cost <= cost:
                gained = cost - trial_cost
                network, residuals, cost = trial, trial_residuals, trial_cost
                damping = max(damping / 10.0, 1e-12)
                break
            damping *= 8.0
        if gained is None or gained <= 1e-9 * cost:
            break
    return network


def camera_scale_sigma(network: Network, sightings: Sightings, priors: LensPriors) -> float:
    """Return one standard deviation of the scale of the cameras' layout, as a fraction.

    The scale is that of the similarity that fits the camera centres best, propagated
    through the inverse normal matrix; it does not depend on how the frame is held.
    Residuals larger than the stated deviations widen it.
    """
    residuals = residuals_px(network, sightings)
    weights = sightings.sigma_px**-2.0
    equations = _normal_equations(network, sightings, priors, weights)
    centres = network.centres_mm()
    arms = centres - centres.mean(axis=0)
    spread = float((arms**2).sum())
    if spread <= 0:
        return float("inf")
    # Centre = -R' t; a turn w and shift s move it by R' (w x t) - R' s.
    in_camera = np.einsum("cij,cj->ci", network.camera_rotations, arms) / spread
    wish = np.zeros((len(centres), _CAMERA))
    wish[:, :3] = np.cross(network.camera_shifts_mm, in_camera)
    wish[:, 3:6] = -in_camera
    equations.camera_side = wish
    equations.rest_side = np.zeros_like(equations.rest_side)
    answer, _ = equations.solve(0.0, _free(network, sightings, priors))
    unknowns = _CAMERA * len(centres) + LENS_PARAMETERS * len(network.lenses)
    unknowns += _POSE * (len(network.sheet_rotations) - 1)
    surplus = max(len(sightings) - unknowns, 1)
    variance_factor = max(1.0, float((residuals**2 * weights).sum()) / surplus)
    return float(np.sqrt(max((wish * answer).sum(), 0.0) * variance_factor))
