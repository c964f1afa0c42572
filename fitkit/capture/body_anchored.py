"""Cameras solved again on the body's own pattern, whether it swayed or stood still.

The marker sheets tell where each photo was taken from against the floor. If the body leaned
between photos, that is not where it was taken from against the body, and the surface would
be pieced together from views that do not fit. The body's own features tell the latter; the
floor keeps its say in scale, upright and place, the more the less the body moved. A body that
stood still tells a few tenths of a millimetre by which the cameras miss each other, and they draw
the surface in or out as a whole.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.capture.body_features import FeatureTracks, track_features, triangulated
from fitkit.capture.camera import Camera
from fitkit.capture.moving_limbs import MovingRegion, moving_regions
from fitkit.capture.scan import CaptureVolume, SolvedCameras
from fitkit.capture.track_adjustment import (
    CameraBelief,
    CameraPoses,
    adjust_tracks,
    misfits_px,
)
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["BodyAnchor", "anchor_to_body"]

Progress = Callable[[float, str], None]

_FEWEST_POINTS = 60
_FEWEST_SIGHTINGS = 20
_FEWEST_CAMERAS = 3
# Where fewer of the photos show so many, features that tell no sway do not tell that there is none.
_LEAST_SHOWING = 2 / 3
# Features that fit the floor's cameras to this tell no sway: it is the noise of good photos.
_STILL_MM = 0.3
# The body counts as moved when its top did so by this, root mean square, and the features
# fit clearly better when allowed to.
_MOVED_MM = 0.75
_CLEARLY_BETTER, _ANY_BETTER = 0.75, 1.0
_WARNING_MM = 15.0
# What a standing person may sway at the top and near the floor, before measuring.
_TOP_SWAY_MM, _FLOOR_SWAY_MM = 10.0, 2.0
_LEAST_SWAY_MM = 0.05
_HEIGHTS, _ROUND = 4, 4
# Huber's limit of each round, in deviations; the first copes with wrong matches.
_ROUNDS = (10.0, 3.0, 2.0)
_START_NOISE_PX, _LEAST_NOISE_PX = 0.5, 0.05
_WRONG = 4.0
# The median length of a pair of normal deviates is 1.1774 deviations.
_MEDIAN_LENGTH = 1.1774


@dataclass(frozen=True, slots=True, eq=False)
class BodyAnchor:
    """Cameras as the body saw them.

    Attributes
    ----------
    solved
        Cameras against the body; those given if none can tell.
    moved_mm
        (C,) float mm: how far the top of the body was from its mean place in each of the
        photos of ``solved``; zeros when it stood still.
    findings
        How far it moved, photos left out.
    middle_x_mm
        The middle of the features seen, from the wearer's right to left.
    regions
        Places that moved against the rest, some of them perhaps no part of the body.
    """

    solved: SolvedCameras
    moved_mm: Floats
    findings: tuple[Finding, ...]
    middle_x_mm: float = 0.0
    regions: tuple[MovingRegion, ...] = ()


def anchor_to_body(
    greys: Sequence[Bytes],
    solved: SolvedCameras,
    volume: CaptureVolume,
    *,
    progress: Progress | None = None,
) -> BodyAnchor:
    """Return the cameras against the body, wherever it moved against the floor.

    The body is taken to move as one piece. Lenses stay as they are. The world stays where
    the body stood on average; its scale is that of the floor's cameras.

    Parameters
    ----------
    greys
        (H, W) uint8, one for each camera of ``solved``.
    solved
        Cameras from the marker sheets.
    volume
        Only features in it are the body's.
    progress
        Told the fraction done and what is being done.
    """
    say = progress or (lambda _fraction, _words: None)

    def tracking(fraction: float) -> None:
        say(0.85 * fraction, "following the body's pattern")

    cameras = solved.cameras
    unchanged = BodyAnchor(solved, np.zeros(len(cameras)), ())
    tracks, unvoted = track_features(greys, cameras, volume, say=tracking)
    if tracks.points_n < _FEWEST_POINTS:
        return replace(unchanged, findings=(_few_points(tracks.points_n),))
    floor = _poses_of(cameras)
    points_mm = triangulated(tracks, floor.rotations, floor.shifts_mm)

    say(0.85, "solving the cameras on the body")
    fit = _fitted(floor, points_mm, tracks)
    moved_mm = fit.top_moved_mm(floor)
    rms_mm = float(np.sqrt((moved_mm**2).mean()))

    unchanged = replace(unchanged, middle_x_mm=float(np.median(points_mm[:, 0])))

    depth_mm = floor.seen(points_mm.mean(axis=0)[None])[:, 0, 2]
    off_px = np.linalg.norm(misfits_px(floor, points_mm, tracks), axis=1)
    off_mm = float(np.median(off_px * tracks.sigma * depth_mm[tracks.camera]))
    left = fit.misfit_left(floor)
    if rms_mm < _MOVED_MM and left < _ANY_BETTER:
        say(1.0, "the body stood still")
        still = [_posed(camera, fit.poses, k) for k, camera in enumerate(cameras)]
        return replace(
            unchanged,
            solved=replace(solved, cameras=tuple(still)),
            regions=moving_regions(unvoted, fit.poses),
        )
    held = np.bincount(fit.tracks.camera, minlength=len(cameras)) >= _FEWEST_SIGHTINGS
    if off_mm < _STILL_MM or left > _CLEARLY_BETTER:
        say(1.0, "the body was not seen to move")
        if held.sum() < _LEAST_SHOWING * len(cameras):
            return replace(unchanged, findings=(_few_photos(int(held.sum()), len(cameras)),))
        return replace(unchanged, regions=moving_regions(unvoted, floor))
    if held.sum() < _FEWEST_CAMERAS:
        return replace(unchanged, findings=(_few_points(fit.tracks.points_n),))
    say(1.0, f"the body swayed by {rms_mm:.1f} mm")
    kept = [int(k) for k in np.flatnonzero(held)]
    sway_sigma = fit.scale_sigma(depth_mm[kept])
    anchored = replace(
        solved,
        cameras=tuple(_posed(cameras[k], fit.poses, k) for k in kept),
        scale_sigma=float(np.hypot(solved.scale_sigma, sway_sigma)),
        scale_doubts=(*solved.scale_doubts, ("the body's sway", sway_sigma)),
    )
    findings = [_swayed([camera.photo for camera in anchored.cameras], moved_mm[kept])]
    findings += [_left_out(cameras[k].photo) for k in np.flatnonzero(~held)]
    return replace(
        unchanged,
        solved=anchored,
        moved_mm=moved_mm[kept],
        findings=tuple(findings),
        regions=moving_regions(unvoted, fit.poses),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Adjusted poses, the sightings that fit, and how far each height of the body moved."""

    poses: CameraPoses
    tracks: FeatureTracks
    belief: CameraBelief
    median_px: float

    def top_moved_mm(self, floor: CameraPoses) -> Floats:
        """(C,) float mm: how far the middle of the body's top was from its mean place."""
        top = self.belief.places_mm[-_ROUND:].mean(axis=0)[None]
        moved: Floats = np.linalg.norm((self.poses.seen(top) - floor.seen(top))[:, 0], axis=1)
        return moved

    def misfit_left(self, floor: CameraPoses) -> float:
        """Return the deviation of the features from these poses over that from the floor's.

        Of the same sightings, each squared sum over what its free numbers leave: three a point, and
        for these poses six a camera. About 1 where the floor's poses are as good.
        """
        points_mm = triangulated(self.tracks, floor.rotations, floor.shifts_mm)
        off_px = np.linalg.norm(misfits_px(floor, points_mm, self.tracks), axis=1)
        left_n = 2 * len(self.tracks.camera) - 3 * self.tracks.points_n
        fitted_n = left_n - 6 * len(floor.rotations)
        if fitted_n <= 0:
            return np.inf
        return self.median_px / float(np.median(off_px)) * float(np.sqrt(left_n / fitted_n))

    def scale_sigma(self, depth_mm: Floats) -> float:
        """Return one deviation of the scale that the body's moving adds, as a fraction.

        A scale that is too large moves the body away from every camera by the same part of
        its distance; the sway towards and from the cameras hides that.
        """
        along = float((depth_mm**2).sum() * (self.belief.sigma_mm**-2.0).mean())
        return float(along**-0.5)


def _fitted(floor: CameraPoses, points_mm: Floats, tracks: FeatureTracks) -> _Fit:
    """Solve poses and points by turns with how much the body moved and how well it is seen."""
    places = _places(points_mm)
    top = places[:, 2].max()
    share = np.clip(places[:, 2] / max(float(top), 1.0), 0.0, 1.0)
    sway = _FLOOR_SWAY_MM + (_TOP_SWAY_MM - _FLOOR_SWAY_MM) * share
    poses, noise_px = floor, _START_NOISE_PX
    for huber in _ROUNDS:
        belief = CameraBelief(floor, places, sway)
        scaled = replace(tracks, sigma=tracks.sigma * noise_px)
        poses, points_mm = adjust_tracks(poses, points_mm, scaled, belief, huber=huber)
        off_px = np.linalg.norm(misfits_px(poses, points_mm, tracks), axis=1)
        noise_px = max(float(np.median(off_px)) / _MEDIAN_LENGTH, _LEAST_NOISE_PX)
        keep = off_px < _WRONG * _MEDIAN_LENGTH * noise_px
        tracks = tracks.where(keep)
        points_mm = triangulated(tracks, poses.rotations, poses.shifts_mm)
        by_height = belief.moved_mm(poses).reshape(len(poses.rotations), _HEIGHTS, -1)
        sway = np.repeat(np.sqrt((by_height**2).mean(axis=(0, 2))), _ROUND)
        sway = np.maximum(sway, _LEAST_SWAY_MM)
    off_px = np.linalg.norm(misfits_px(poses, points_mm, tracks), axis=1)
    return _Fit(poses, tracks, CameraBelief(floor, places, sway), float(np.median(off_px)))


def _places(points_mm: Floats) -> Floats:
    """(K, 3) float mm: places round the body's axis at even heights, from the bottom up."""
    x, y = np.median(points_mm[:, :2], axis=0)
    bottom, top = np.percentile(points_mm[:, 2], [2.0, 98.0])
    reach = max(float(np.median(np.hypot(points_mm[:, 0] - x, points_mm[:, 1] - y))), 1.0)
    angle = 2 * np.pi * np.arange(_ROUND) / _ROUND
    ring = np.stack([x + reach * np.cos(angle), y + reach * np.sin(angle)], axis=1)
    heights = np.linspace(bottom, top, _HEIGHTS)
    return np.column_stack([np.tile(ring, (_HEIGHTS, 1)), np.repeat(heights, _ROUND)])


def _poses_of(cameras: Sequence[Camera]) -> CameraPoses:
    return CameraPoses(
        np.stack([camera.camera_from_world.rotation for camera in cameras]),
        np.stack([camera.camera_from_world.translation_mm for camera in cameras]),
    )


def _posed(camera: Camera, poses: CameraPoses, index: int) -> Camera:
    u, _, vt = np.linalg.svd(poses.rotations[index])
    return replace(camera, camera_from_world=RigidTransform(u @ vt, poses.shifts_mm[index]))


def _swayed(names: Sequence[str], moved_mm: Floats) -> Finding:
    worst = int(moved_mm.argmax())
    largest, usual = float(moved_mm[worst]), float(np.sqrt((moved_mm**2).mean()))
    much = largest > _WARNING_MM
    return Finding(
        "body-swayed",
        Severity.WARNING if much else Severity.NOTE,
        names[worst],
        f"The body moved against the floor: its top by {usual:.1f} mm on the whole, by "
        f"{largest:.1f} mm in {names[worst]}. The photos were fitted to the body instead of the "
        "floor; the scale still comes from the sheets.",
        "Let the wearer hold on to a chair back or a stick, look at one spot and breathe "
        "shallowly, and take the photos in one go."
        if much
        else "",
        number=round(largest, 2),
        limit=_WARNING_MM,
        unit="mm",
    )


def _left_out(name: str) -> Finding:
    return Finding(
        "photo-off-body",
        Severity.WARNING,
        name,
        f"The body moved between photos and {name} shows too little of its pattern to tell "
        "where it stood; the photo was left out of the surface.",
        "Take photos in which the body fills most of the height.",
    )


def _cannot_tell(seen: str, number: float, limit: float, unit: str) -> Finding:
    """Return the note that nobody can say whether the body moved, with what was too little."""
    return Finding(
        "sway-unknown",
        Severity.NOTE,
        "photos",
        f"Only {seen}; whether it moved between photos cannot be told.",
        "A covering with an uneven pattern tells; or let the wearer hold on to a chair back.",
        number=float(number),
        limit=float(limit),
        unit=unit,
    )


def _few_points(points: int) -> Finding:
    seen = f"{points} points of a pattern were found on the body in three photos or more"
    return _cannot_tell(seen, points, _FEWEST_POINTS, "points")


def _few_photos(showing: int, photos: int) -> Finding:
    seen = (
        f"{showing} of {photos} photos show {_FEWEST_SIGHTINGS} points of a pattern on the body "
        "that others show too"
    )
    return _cannot_tell(seen, showing, np.ceil(_LEAST_SHOWING * photos), "photos")
