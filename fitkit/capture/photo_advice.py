"""What to photograph again: from where, how high, and what each photo would show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.coverage import LEAST_VIEWS, Coverage, free_ways
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["PhotoAdvice", "PhotoPlan", "advice_findings", "plan_photos"]

_BEARINGS = (
    "front",
    "front left",
    "left",
    "back left",
    "back",
    "back right",
    "right",
    "front right",
)
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
# Looking up, level, down and steeply down.
_ELEVATIONS_RAD = np.deg2rad([-25.0, 0.0, 30.0, 60.0])
# How low a phone can be held and how high, from a low step.
_LOWEST_CAMERA_MM, _HIGHEST_CAMERA_MM = 80.0, 2200.0
# Part of the usual distance to which a photo may be taken nearer.
_NEAREST = 0.5
_LEAST_SHARE = 0.005
_MOST_ADVICE = 4
_LARGE_SHARE = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class PhotoAdvice:
    """A few more photos from about one place.

    Attributes
    ----------
    photos_n
        How many, a small step apart.
    bearing_rad
        Where to stand, from the wearer's front (0) towards the wearer's left.
    elevation_rad
        How far the camera looks down on the place (negative: up).
    camera_mm
        (3,) float mm, world: where to hold the camera, as far away as the other photos were.
    target_mm
        (3,) float mm, world: the middle of what the photos are for.
    area_share
        Share of the surface that they would show.
    """

    photos_n: int
    bearing_rad: float
    elevation_rad: float
    camera_mm: Floats
    target_mm: Floats
    area_share: float

    def words(self) -> str:
        """Return the advice as a sentence without its full stop."""
        photos = _NUMBERS[min(self.photos_n, len(_NUMBERS) - 1)]
        noun = "photo" if self.photos_n == 1 else "photos"
        bearing = _BEARINGS[round(self.bearing_rad / (np.pi / 4)) % 8]
        if self.elevation_rad < np.deg2rad(-10.0):
            how = "low, looking up"
        elif self.elevation_rad < np.deg2rad(15.0):
            how = "level with it"
        elif self.elevation_rad < np.deg2rad(45.0):
            how = "looking down a little"
        else:
            how = "from high above"
        return (
            f"{photos} more {noun} from the {bearing}, {how}: camera about "
            f"{_centimetres(self.camera_mm[2])} above the sheets, aimed at "
            f"{_centimetres(self.target_mm[2])}"
        )


@dataclass(frozen=True, slots=True, eq=False)
class PhotoPlan:
    """All advice, and what no photo can help.

    Attributes
    ----------
    advice
        Most useful first.
    wanting_share
        Share of the surface seen by fewer photos than count as measured.
    hidden_share
        Share of the surface that the body itself hides from every direction tried.
    """

    advice: tuple[PhotoAdvice, ...]
    wanting_share: float
    hidden_share: float


def plan_photos(coverage: Coverage, mesh: TriangleMesh, cameras: Sequence[Camera]) -> PhotoPlan:
    """Return from where the places that too few photos see should be photographed.

    Eight bearings by four heights are tried, each place counting for a direction from which
    it could be seen within 60 degrees of its normal. The direction that shows most is taken,
    its places are struck off, and so on, at most four times.

    Parameters
    ----------
    coverage
        Of the surface by the photos there are.
    mesh
        The surface.
    cameras
        Of the photos there are; new ones are to be taken from about as far away.
    """
    wanting = coverage.views_n < LEAST_VIEWS
    share = coverage.share(wanting)
    if not wanting.any() or not cameras:
        return PhotoPlan((), share, 0.0)
    points, normals = coverage.points_mm[wanting], coverage.normals[wanting]
    weight = coverage.area_mm2[wanting] / max(float(coverage.area_mm2.sum()), 1e-9)
    missing = LEAST_VIEWS - coverage.views_n[wanting]
    middle = mesh.bounds_mm().mean(axis=0)
    reach = float(np.median([np.linalg.norm(c.centre_mm() - middle) for c in cameras]))
    bearing = np.repeat(np.arange(8) * np.pi / 4, len(_ELEVATIONS_RAD))
    elevation = np.tile(_ELEVATIONS_RAD, 8)
    level = np.cos(elevation)
    ways = np.column_stack([level * np.sin(bearing), -level * np.cos(bearing), np.sin(elevation)])
    distance = _distances(points[:, 2], ways[:, 2], reach)
    serves = free_ways(mesh, points, normals, ways) & (distance >= _NEAREST * reach)
    hidden = float(weight[~serves.any(axis=1)].sum())
    value = np.where(serves, normals @ ways.T, 0.0) * weight[:, None]
    advice: list[PhotoAdvice] = []
    left: Bools = np.ones(len(points), dtype=np.bool_)
    while len(advice) < _MOST_ADVICE:
        best = int(np.argmax(value[left].sum(axis=0))) if left.any() else 0
        shown = left & serves[:, best]
        if weight[shown].sum() < _LEAST_SHARE:
            break
        target = np.average(points[shown], axis=0, weights=weight[shown])
        count = int(missing[shown].max())
        # One photo alone cannot be matched: a new place needs two, a small step apart.
        advice.append(
            PhotoAdvice(
                max(count, 2),
                float(bearing[best]),
                float(elevation[best]),
                target + distance[shown, best].mean() * ways[best],
                target,
                float(weight[shown].sum()),
            )
        )
        left &= ~shown
    return PhotoPlan(tuple(advice), share, hidden)


def advice_findings(plan: PhotoPlan) -> tuple[Finding, ...]:
    """Return the advice as findings."""
    found = []
    for one in plan.advice:
        height = _centimetres(one.target_mm[2])
        found.append(
            Finding(
                "photos-wanted",
                Severity.WARNING if one.area_share > _LARGE_SHARE else Severity.NOTE,
                f"surface at {height}",
                f"{100 * one.area_share:.1f} % of the surface, about {height} above the sheets, "
                f"is seen by fewer than {LEAST_VIEWS} photos.",
                f"Take {one.words()}.",
                number=round(one.area_share, 4),
                limit=_LARGE_SHARE,
                unit="share of the area",
            )
        )
    if plan.hidden_share > _LEAST_SHARE:
        found.append(
            Finding(
                "surface-hidden",
                Severity.NOTE,
                "surface",
                f"{100 * plan.hidden_share:.1f} % of the surface is hidden by the body itself from "
                "wherever a photo could be taken; there it only bridges a gap.",
                "Hold arms and legs further apart if a part has to lie there.",
                number=round(plan.hidden_share, 4),
                unit="share of the area",
            )
        )
    return tuple(found)


def _distances(heights_mm: Floats, rise: Floats, reach_mm: float) -> Floats:
    """(N, W) float mm: how far away a camera can be held from each height in each direction."""
    with np.errstate(divide="ignore", invalid="ignore"):
        up = (_HIGHEST_CAMERA_MM - heights_mm[:, None]) / rise
        down = (_LOWEST_CAMERA_MM - heights_mm[:, None]) / rise
    room = np.where(rise > 0, up, np.where(rise < 0, down, np.inf))
    distance: Floats = np.clip(room, 0.0, reach_mm)
    return distance


def _centimetres(height_mm: float) -> str:
    # A hand-held camera is placed to a hand's breadth; a small subject to a centimetre.
    step = 5 if height_mm > 400.0 else 1
    return f"{step * round(max(height_mm, 0.0) / (10 * step))} cm"
