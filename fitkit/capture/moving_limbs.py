"""Parts of the body that moved against the rest of it: arms, a turned head, shifting cloth.

Cameras solved on the body fit whatever makes up most of it. Where the pattern of one region,
left or right, high or low, misses its place from photo to photo by more than elsewhere, that
region moved on its own, and the surface there is a blend of several postures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fitkit.capture.body_features import FeatureTracks, triangulated
from fitkit.capture.track_adjustment import CameraPoses, misfits_px
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats

__all__ = ["MovingRegion", "limb_findings", "moving_regions"]

# A region is judged by the middle one of its nearest features, so that single wrong
# matches say nothing.
_NEIGHBOURS, _NEAR_MM = 15, 90.0
_LEAST_FEATURES = 25
_MOVED_MM, _OF_USUAL = 1.5, 4.0
_MIDDLE_MM = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class MovingRegion:
    """One region: lowest and highest corner (3,) mm, and the RMS its features miss by, mm."""

    low_mm: Floats
    high_mm: Floats
    miss_mm: float


def moving_regions(tracks: FeatureTracks, poses: CameraPoses) -> tuple[MovingRegion, ...]:
    """Return the regions whose features do not keep their place on the body, largest first.

    Parameters
    ----------
    tracks
        Features before any were left out for not fitting.
    poses
        Cameras against the body.
    """
    if tracks.points_n < _LEAST_FEATURES:
        return ()
    points_mm = triangulated(tracks, poses.rotations, poses.shifts_mm)
    local = np.einsum("nij,nj->ni", poses.rotations[tracks.camera], points_mm[tracks.point])
    depth_mm = np.maximum(local[:, 2] + poses.shifts_mm[tracks.camera, 2], 0.0)
    off = misfits_px(poses, points_mm, tracks) * (tracks.sigma * depth_mm)[:, None]
    square = np.bincount(tracks.point, (off**2).sum(axis=1), tracks.points_n)
    views_n = np.bincount(tracks.point, minlength=tracks.points_n)
    # A point takes three of the coordinates measured for itself.
    miss_mm = np.sqrt(square / np.maximum(views_n - 1.5, 1.0))
    distance, near = cKDTree(points_mm).query(points_mm, k=_NEIGHBOURS)
    regional = np.median(miss_mm[near], axis=1)
    regional[distance[:, -1] > _NEAR_MM] = 0.0
    limit_mm = max(_MOVED_MM, _OF_USUAL * float(np.percentile(miss_mm, 25.0)))
    moved = np.flatnonzero(regional > limit_mm)
    if len(moved) < _LEAST_FEATURES:
        return ()
    links = cKDTree(points_mm[moved]).query_pairs(_NEAR_MM, output_type="ndarray")
    shape = (len(moved), len(moved))
    graph = sp.coo_matrix((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=shape)
    _, label = connected_components(graph, directed=False)
    regions = []
    for group in np.argsort(-np.bincount(label), kind="stable"):
        members = moved[label == group]
        if len(members) >= _LEAST_FEATURES:
            low, high = np.percentile(points_mm[members], [5.0, 95.0], axis=0)
            regions.append(MovingRegion(low, high, float(np.median(miss_mm[members]))))
    return tuple(regions)


def limb_findings(
    regions: tuple[MovingRegion, ...], axis_x_mm: float, *, lowest_mm: float
) -> tuple[Finding, ...]:
    """Say which regions moved, by the wearer's side and height.

    Those wholly below ``lowest_mm``, where the surface begins, are no part of the body: along the
    pole of a stand, corners with the room behind it pass for a pattern that moves.
    """
    findings = []
    for region in regions:
        if region.high_mm[2] < lowest_mm:
            continue
        x = float(region.low_mm[0] + region.high_mm[0]) / 2.0 - axis_x_mm
        side = "middle" if abs(x) < _MIDDLE_MM else ("left" if x > 0 else "right")
        heights = f"{region.low_mm[2]:.0f} to {region.high_mm[2]:.0f} mm"
        findings.append(
            Finding(
                "limb-moved",
                Severity.WARNING,
                f"{side}, {heights}",
                f"The body's {side} from {heights} above the floor moved against the rest: its "
                f"pattern misses by {region.miss_mm:.1f} mm from photo to photo, and "
                "the surface there is as far off.",
                "Give the arms a rest, such as two sticks held upright, and photograph again; or "
                "measure that part with a tape and trust the tape.",
                number=round(region.miss_mm, 2),
                limit=_MOVED_MM,
                unit="mm",
            )
        )
    return tuple(findings)
