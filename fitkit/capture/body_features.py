"""Points of the pattern on the body, found again from photo to photo.

Scale-invariant features are matched between neighbouring photos. The cameras solved on the
floor say where a match may lie, give or take the sway of a standing person, and which
matches lie in the capture volume; each pair of photos then votes out what no single motion
of the body explains.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.capture_volume import column_points, inside_volume, seen_by
from fitkit.capture.compiled_loops import compiled, prange
from fitkit.capture.owner_sums import summed_by_owner
from fitkit.capture.scan import CaptureVolume
from fitkit.geometry.arrays import Bools, Bytes, Floats, Ints
from fitkit.geometry.rigid import RigidTransform

__all__ = ["FeatureTracks", "track_features", "triangulated"]

_LONGEST_PX = 800
_MOST_FEATURES = 2200
_LEAST_CONTRAST = 0.01
_PARTNERS, _LEAST_RAD, _MOST_RAD = 5, np.deg2rad(3.0), np.deg2rad(42.0)
_LEAST_SHARED = 0.3
# How far apart two photos may find the body: several times what a standing person sways.
_SWAY_MM = 45.0
_LEAST_TOLERANCE_PX = 4.0
_AS_LIKE = 0.85
# Squared distance of descriptors of length 255 that share less than half their pattern.
_UNLIKE = 255 * 255
_FEWEST_MATCHES = 12
_VOTE_PX = 1.2
_SURE_PX = 0.05
_STILL_PX = 1.5
_FEWEST_SEEN = 3


@dataclass(frozen=True, slots=True, eq=False)
class FeatureTracks:
    """P points, each seen by at least three photos, in N sightings sorted by point.

    Attributes
    ----------
    camera, point
        (N,) int: which camera saw which point.
    rays
        (N, 2) float: x / z and y / z in the camera, distortion undone.
    sigma
        (N,) float, same unit: what one pixel of the searched photo is.
    points_n
        Number of points.
    """

    camera: Ints
    point: Ints
    rays: Floats
    sigma: Floats
    points_n: int

    def where(self, keep: Bools) -> FeatureTracks:
        """Return the sightings kept, points renumbered, those seen by fewer than three dropped."""
        seen = np.bincount(self.point[keep], minlength=self.points_n)
        keep = keep & (seen >= _FEWEST_SEEN)[self.point]
        _, point = np.unique(self.point[keep], return_inverse=True)
        return FeatureTracks(
            self.camera[keep],
            np.asarray(point, dtype=np.int64),
            self.rays[keep],
            self.sigma[keep],
            int(point.max()) + 1 if len(point) else 0,
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Features:
    """Of one photo: ideal image places (K, 2) and descriptors (K, 128) of length 255."""

    rays: Floats
    descriptors: Bytes
    pixel: float


def track_features(
    greys: Sequence[Bytes],
    cameras: Sequence[Camera],
    volume: CaptureVolume,
    *,
    say: Callable[[float], None],
) -> tuple[FeatureTracks, FeatureTracks]:
    """Return the points that at least three photos show, those that fit one motion and all.

    The first are what each pair of photos voted for; the second hold what moved otherwise,
    and more wrong matches.

    Parameters
    ----------
    greys
        (H, W) uint8 each, as large as its camera's lens says.
    cameras
        As solved on the floor.
    volume
        Only points in it are kept.
    say
        Told the fraction done.
    """
    column = column_points(volume)
    found = []
    for done, (grey, camera) in enumerate(zip(greys, cameras, strict=True)):
        found.append(_features_of(grey, camera, column))
        say(0.6 * (done + 1) / len(greys))
    first = np.cumsum([0, *(len(one.rays) for one in found)])
    pairs = _neighbours(cameras, column)
    ends: list[Ints] = []
    voted: list[Bools] = []
    for done, (i, j) in enumerate(pairs):
        matches, agree = _matches(found[i], found[j], cameras[i], cameras[j], volume)
        ends.append(matches + first[[i, j]])
        voted.append(agree)
        say(0.6 + 0.4 * (done + 1) / len(pairs))
    joined = np.vstack(ends) if ends else np.empty((0, 2), dtype=np.int64)
    agreed = np.concatenate(voted) if voted else np.empty(0, dtype=np.bool_)
    return _tracks(joined[agreed], found, first), _tracks(joined, found, first)


def triangulated(tracks: FeatureTracks, rotations: Floats, shifts_mm: Floats) -> Floats:
    """(P, 3) float mm: the points nearest to their sightings, by least squares over the rays.

    Parameters
    ----------
    tracks
        What was seen.
    rotations, shifts_mm
        (C, 3, 3) and (C, 3): ``camera_from_world``.
    """
    # u (r3 X + t3) = r1 X + t1, scaled to millimetres across by the distance afterwards.
    turned, shift = rotations[tracks.camera], shifts_mm[tracks.camera]
    rows = tracks.rays[:, :, None] * turned[:, 2:3, :] - turned[:, :2, :]
    side = shift[:, :2] - tracks.rays * shift[:, 2:3]
    squares = np.einsum("nki,nkj->nij", rows, rows)
    left = summed_by_owner(squares, tracks.point, tracks.points_n)
    right = summed_by_owner(np.einsum("nki,nk->ni", rows, side), tracks.point, tracks.points_n)
    normal = left + 1e-12 * np.eye(3)
    points: Floats = np.asarray(np.linalg.solve(normal, right[:, :, None])[:, :, 0])
    return points


def _features_of(grey: Bytes, camera: Camera, column: Floats) -> _Features:
    """Find the features where the photo shows the column."""
    factor = min(1.0, _LONGEST_PX / max(grey.shape))
    seen = column[seen_by(camera, column)]
    nothing = _Features(np.empty((0, 2)), np.empty((0, 128), dtype=np.uint8), 1.0)
    if len(seen) < 3:
        return nothing
    if factor < 0.95:
        small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    else:
        factor, small = 1.0, np.asarray(grey)
    mask = np.zeros(small.shape, dtype=np.uint8)
    outline = cv2.convexHull((factor * camera.project(seen)).astype(np.float32))
    cv2.fillConvexPoly(mask, np.rint(outline).astype(np.int32), 255)
    # Without the precise upscale every feature comes out a quarter of a pixel off.
    finder = cv2.SIFT_create(  # type: ignore[attr-defined]
        _MOST_FEATURES, contrastThreshold=_LEAST_CONTRAST, enable_precise_upscale=True
    )
    keypoints, descriptors = finder.detectAndCompute(small, mask)
    if descriptors is None or len(keypoints) == 0:
        return nothing
    places = np.array([keypoint.pt for keypoint in keypoints], dtype=np.float64)
    # Shrinking by areas keeps the outer edges; pixel centres move by half a pixel.
    pixels = (places + 0.5) / factor - 0.5
    root = np.sqrt(descriptors / np.maximum(descriptors.sum(axis=1, keepdims=True), 1e-9))
    # Far out in the picture a strongly bending lens may have no inverse.
    with np.errstate(all="ignore"):
        rays = _ideal(camera.lens, pixels)
        back = camera.lens.project(np.column_stack([rays, np.ones(len(rays))]))
        sure = np.linalg.norm(back - pixels, axis=1) < _SURE_PX
    rays, root = rays[sure], root[sure]
    return _Features(
        rays, np.rint(255.0 * root).astype(np.uint8), 1.0 / (factor * camera.lens.focal_px)
    )


def _ideal(lens: Lens, pixels: Floats) -> Floats:
    """(N, 2) float: x / z and y / z of pixels, by fixed-point steps."""
    measured = (pixels - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
    ideal = measured.copy()
    for _ in range(20):
        image = lens.project(np.column_stack([ideal, np.ones(len(ideal))]))
        image = (image - [lens.centre_x_px, lens.centre_y_px]) / lens.focal_px
        ideal += measured - image
    return ideal


def _neighbours(cameras: Sequence[Camera], column: Floats) -> list[tuple[int, int]]:
    """Return the pairs of photos that look at the body from about the same side."""
    away = np.array([camera.centre_mm() for camera in cameras]) - column.mean(axis=0)
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    angle = np.arccos(np.clip(away @ away.T, -1.0, 1.0))
    shown = np.stack([seen_by(camera, column) for camera in cameras]).astype(np.float64)
    share = shown @ shown.T / np.maximum(shown.sum(axis=1), 1.0)[:, None]
    usable = (angle >= _LEAST_RAD) & (angle <= _MOST_RAD) & (share >= _LEAST_SHARED)
    pairs = set()
    for i in range(len(cameras)):
        partners = [int(j) for j in np.argsort(angle[i], kind="stable") if usable[i, j]]
        pairs |= {(min(i, j), max(i, j)) for j in partners[:_PARTNERS]}
    return sorted(pairs)


def _matches(
    one: _Features, other: _Features, camera: Camera, neighbour: Camera, volume: CaptureVolume
) -> tuple[Ints, Bools]:
    """Return (M, 2) int: features of either photo that look the same, and which fit one motion."""
    nothing = np.empty((0, 2), dtype=np.int64), np.empty(0, dtype=np.bool_)
    if min(len(one.rays), len(other.rays)) < _FEWEST_MATCHES:
        return nothing
    other_from_one = neighbour.camera_from_world @ camera.camera_from_world.inverse()
    middle = np.array(
        [volume.centre_x_mm, volume.centre_y_mm, (volume.bottom_mm + volume.top_mm) / 2]
    )
    tolerance = max(
        _SWAY_MM / float(np.linalg.norm(neighbour.centre_mm() - middle)),
        _LEAST_TOLERANCE_PX * other.pixel,
    )
    one_from_other = other_from_one.inverse()
    towards = _likest(one, other, other_from_one, tolerance)
    back = _likest(other, one, one_from_other, tolerance)
    chosen = np.flatnonzero(towards >= 0)
    chosen = chosen[back[towards[chosen]] == chosen]
    pairs = np.stack([chosen, towards[chosen]], axis=1)
    # What stays in its place in the photo while the cameras go round is not on the body: a
    # still camera before a turntable sees the room so.
    step = np.abs(one.rays[pairs[:, 0]] - other.rays[pairs[:, 1]]).max(axis=1)
    still = step < _STILL_PX * max(one.pixel, other.pixel)
    if int(still.sum()) >= _FEWEST_MATCHES:
        pairs = pairs[~still]
    if len(pairs) < _FEWEST_MATCHES:
        return nothing
    pose, neighbour_pose = camera.camera_from_world, neighbour.camera_from_world
    number = np.repeat(np.arange(len(pairs)), 2)
    sightings = FeatureTracks(
        np.tile([0, 1], len(pairs)),
        number,
        np.stack([one.rays[pairs[:, 0]], other.rays[pairs[:, 1]]], axis=1).reshape(-1, 2),
        np.ones(len(number)),
        len(pairs),
    )
    points = triangulated(
        sightings,
        np.stack([pose.rotation, neighbour_pose.rotation]),
        np.stack([pose.translation_mm, neighbour_pose.translation_mm]),
    )
    ahead = (pose.apply(points)[:, 2] > 0) & (neighbour_pose.apply(points)[:, 2] > 0)
    pairs = pairs[ahead & inside_volume(volume, points)]
    if len(pairs) < _FEWEST_MATCHES:
        return nothing
    _, agree = cv2.findEssentialMat(
        one.rays[pairs[:, 0]],
        other.rays[pairs[:, 1]],
        np.eye(3),
        method=cv2.USAC_MAGSAC,
        prob=0.999,
        threshold=_VOTE_PX * max(one.pixel, other.pixel),
    )
    if agree is None or int(agree.sum()) < _FEWEST_MATCHES:
        return nothing
    return pairs, np.asarray(agree.ravel() > 0)


def _likest(
    one: _Features, other: _Features, other_from_one: RigidTransform, tolerance: float
) -> Ints:
    """(K,) int: the feature of the other photo most like each of one photo; -1 if in doubt.

    Only those near the line on which the one photo's cameras see it are looked at; the
    likest must be clearly more like it than the next.
    """
    lines = np.column_stack([one.rays, np.ones(len(one.rays))]) @ other_from_one.rotation.T
    lines = np.cross(other_from_one.translation_mm, lines)
    lines /= np.maximum(np.linalg.norm(lines[:, :2], axis=1, keepdims=True), 1e-12)
    found = np.full(len(lines), -1, dtype=np.int64)
    _look_along(
        lines.astype(np.float32),
        other.rays.astype(np.float32),
        one.descriptors,
        other.descriptors,
        np.float32(tolerance),
        np.float32(_AS_LIKE**2),
        found,
    )
    return found


@compiled
def _look_along(
    lines: npt.NDArray[np.float32],
    places: npt.NDArray[np.float32],
    wanted: Bytes,
    offered: Bytes,
    tolerance: np.float32,
    ratio: np.float32,
    found: Ints,
) -> None:
    """Fill ``found`` with the likest place near each line, where it is clear."""
    for n in prange(len(lines)):
        best, nearest, next_nearest = -1, _UNLIKE, _UNLIKE
        for k in range(len(places)):
            off = lines[n, 0] * places[k, 0] + lines[n, 1] * places[k, 1] + lines[n, 2]
            if abs(off) > tolerance:
                continue
            # Whole numbers: their sum is the same in any order, so many are taken at once.
            total = np.int32(0)
            for q in range(wanted.shape[1]):
                step = np.int32(wanted[n, q]) - np.int32(offered[k, q])
                total += step * step
            distance = int(total)
            if distance < nearest:
                best, nearest, next_nearest = k, distance, nearest
            elif distance < next_nearest:
                next_nearest = distance
        if best >= 0 and nearest < ratio * next_nearest:
            found[n] = best


def _tracks(joined: Ints, found: Sequence[_Features], first: Ints) -> FeatureTracks:
    """Return the points that matches join, without those that one photo shows twice."""
    count = int(first[-1])
    link = sp.coo_matrix((np.ones(len(joined)), (joined[:, 0], joined[:, 1])), shape=(count, count))
    _, label = connected_components(link, directed=False)
    camera = np.repeat(np.arange(len(found)), np.diff(first))
    _, twice = np.unique(label * len(found) + camera, return_counts=True)
    both = np.unique(label * len(found) + camera)[twice > 1] // len(found)
    clean = np.ones(int(label.max(initial=-1)) + 1, dtype=np.bool_)
    clean[both] = False
    seen = np.bincount(label, minlength=len(clean))
    rows = np.flatnonzero((clean & (seen >= _FEWEST_SEEN))[label])
    rows = rows[np.argsort(label[rows], kind="stable")]
    _, point = np.unique(label[rows], return_inverse=True)
    pixel = np.array([one.pixel for one in found])
    return FeatureTracks(
        camera[rows],
        np.asarray(point, dtype=np.int64),
        np.vstack([one.rays for one in found])[rows],
        pixel[camera[rows]],
        int(point.max()) + 1 if len(point) else 0,
    )
