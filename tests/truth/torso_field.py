"""The mannequin's shape as a field: negative inside, positive outside, about a distance in mm.

The trunk is lofted from measured-looking cross sections (half breadth, front, back and how
square each is, at heights from the thigh to the neck), then modelled with soft masses and
furrows as a sculptor would add them, and joined to two arms. Everything depends on ``|x|``
only, so left and right are exact mirror images. A :class:`Build` says how broad, deep and rounded
all of it is; :data:`DISPLAY` is the display mannequin's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from fitkit.geometry.arrays import Floats

__all__ = [
    "ARM_AXIS",
    "BOTTOM_MM",
    "BROAD",
    "DISPLAY",
    "NECK_TOP_MM",
    "SHOULDER_MM",
    "SLIGHT",
    "Build",
    "arm_field",
    "armpit_blend_mm",
    "smooth_cut",
    "smooth_union",
    "torso_field",
    "trunk_field",
]

BOTTOM_MM = 780.0
NECK_TOP_MM = 1490.0
SHOULDER_MM = np.array([184.0, 16.0, 1335.0])
"""Middle of the wearer's left shoulder ball."""
ARM_AXIS = np.array([np.sin(np.radians(24.0)), -0.03, -np.cos(np.radians(24.0))])
ARM_AXIS /= np.linalg.norm(ARM_AXIS)
ARM_LENGTH_MM = 262.0

# z, half breadth, front y, back y, squareness of the front half, squareness of the back half
_SECTIONS = np.array(
    [
        [740.0, 158.8, -91.1, 86.9, 2.45, 2.35],
        [780.0, 168.2, -96.3, 91.1, 2.45, 2.35],
        [820.0, 176.2, -101.6, 96.4, 2.5, 2.4],
        [860.0, 180.5, -105.9, 101.7, 2.45, 2.45],
        [900.0, 179.6, -111.2, 102.9, 2.35, 2.45],
        [940.0, 172.9, -117.6, 97.8, 2.3, 2.4],
        [980.0, 162.0, -120.9, 88.6, 2.3, 2.35],
        [1020.0, 150.0, -119.0, 79.8, 2.3, 2.35],
        [1060.0, 142.3, -114.9, 76.3, 2.35, 2.4],
        [1100.0, 140.9, -112.1, 78.9, 2.4, 2.45],
        [1140.0, 146.8, -113.8, 86.8, 2.4, 2.5],
        [1180.0, 154.3, -117.1, 95.3, 2.4, 2.55],
        [1220.0, 162.3, -118.2, 102.6, 2.4, 2.6],
        [1260.0, 166.5, -114.5, 106.2, 2.45, 2.6],
        [1300.0, 174.0, -106.0, 107.5, 2.5, 2.55],
        [1335.0, 178.2, -93.0, 104.5, 2.5, 2.45],
        [1360.0, 179.7, -80.2, 99.6, 2.45, 2.35],
        [1380.0, 169.2, -67.6, 94.8, 2.3, 2.25],
        [1395.0, 148.0, -57.6, 89.6, 2.15, 2.15],
        [1408.0, 118.4, -50.0, 85.0, 2.1, 2.1],
        [1420.0, 91.0, -46.0, 80.5, 2.05, 2.05],
        [1434.0, 73.0, -45.0, 75.5, 2.0, 2.0],
        [1450.0, 63.0, -47.5, 70.0, 2.0, 2.0],
        [1470.0, 58.0, -51.5, 63.5, 2.0, 2.0],
        [1490.0, 56.5, -56.0, 57.5, 2.0, 2.0],
        [1530.0, 56.0, -65.0, 46.0, 2.0, 2.0],
    ]
)

# along the arm in mm from the shoulder ball, half width in the arm's own plane, half depth
_ARM = np.array(
    [
        [-60.0, 43.9, 49.7],
        [-20.0, 46.8, 52.0],
        [25.0, 49.7, 53.0],
        [70.0, 48.2, 49.7],
        [115.0, 43.9, 46.3],
        [160.0, 41.5, 45.4],
        [205.0, 39.6, 43.5],
        [250.0, 36.8, 39.6],
        [300.0, 34.4, 36.3],
    ]
)


@dataclass(frozen=True, slots=True)
class Build:
    """How a body differs from the display mannequin; heights stay.

    Attributes
    ----------
    shoulders, waist, hips
        Factors on the half breadth at 1340, 1090 and 870 mm, blended in between.
    depth
        Factor on front and back.
    bust, seat
        Factors on what is modelled onto the front and the back.
    neck, arm
        Factors on their thickness.
    shoulder_x_mm
        From the mirror plane to the middle of the shoulder ball.
    """

    name: str
    shoulders: float = 1.0
    waist: float = 1.0
    hips: float = 1.0
    depth: float = 1.0
    bust: float = 1.0
    seat: float = 1.0
    neck: float = 1.0
    arm: float = 1.0
    shoulder_x_mm: float = float(SHOULDER_MM[0])

    def shoulder_mm(self) -> Floats:
        """Middle of the wearer's left shoulder ball."""
        return np.array([self.shoulder_x_mm, *SHOULDER_MM[1:]])

    def sections(self) -> Floats:
        """Return the trunk's table, scaled."""
        z = _SECTIONS[:, 0]
        at = [740.0, 870.0, 1090.0, 1340.0, 1400.0, 1450.0, 1530.0]
        across = [self.hips, self.hips, self.waist, self.shoulders, self.shoulders]
        deep = [self.depth] * 5
        table = _SECTIONS.copy()
        table[:, 1] *= np.interp(z, at, [*across, self.neck, self.neck])
        table[:, 2:4] *= np.interp(z, at, [*deep, self.neck, self.neck])[:, None]
        return table


DISPLAY = Build("display torso")
BROAD = Build(
    "broad torso",
    shoulders=1.17,
    waist=1.16,
    hips=1.0,
    depth=1.12,
    bust=0.35,
    seat=0.8,
    neck=1.17,
    arm=1.22,
    shoulder_x_mm=216.0,
)
SLIGHT = Build(
    "slight torso",
    shoulders=0.9,
    waist=0.88,
    hips=0.9,
    depth=0.86,
    bust=0.6,
    seat=0.9,
    neck=0.9,
    arm=0.82,
    shoulder_x_mm=166.0,
)


def _bump(u: Floats, low: float, high: float) -> Floats:
    """Gaussian with different widths below and above 0."""
    bump: Floats = np.exp(-0.5 * (u / np.where(u < 0, low, high)) ** 2)
    return bump


def _span(z: Floats, start: float, stop: float, soft: float) -> Floats:
    """About 1 between start and stop, fading over ``soft``."""
    span: Floats = 0.25 * (1 + np.tanh((z - start) / soft)) * (1 + np.tanh((stop - z) / soft))
    return span


def _ridge(
    x: Floats, z: Floats, start: tuple[float, float], end: tuple[float, float], width: float
) -> Floats:
    """Gaussian ridge along a segment in the frontal plane."""
    a, b = np.array(start), np.array(end)
    d = b - a
    t = np.clip(((x - a[0]) * d[0] + (z - a[1]) * d[1]) / (d @ d), 0.0, 1.0)
    gap2 = (x - a[0] - t * d[0]) ** 2 + (z - a[1] - t * d[1]) ** 2
    taper = 0.35 + 0.65 * np.sin(np.pi * np.clip(t, 0.02, 0.98)) ** 0.7
    ridge: Floats = taper * np.exp(-0.5 * gap2 / width**2)
    return ridge


def _front_relief(x: Floats, z: Floats) -> Floats:
    """Height in mm of what is modelled onto the front, at |x| and z."""
    relief = 21.0 * _bump(x - 76.0, 42.0, 46.0) * _bump(z - 1238.0, 29.0, 62.0)
    relief += 5.0 * _bump(x - 92.0, 26.0, 30.0) * _bump(z - 1226.0, 18.0, 22.0)
    relief -= 5.5 * _bump(x, 13.0, 13.0) * _span(z, 1195.0, 1345.0, 25.0)
    relief += 5.0 * _ridge(x, z, (20.0, 1388.0), (140.0, 1392.0), 8.0)
    relief -= 6.0 * _ridge(x, z, (40.0, 1368.0), (130.0, 1362.0), 17.0)
    relief -= 6.0 * _bump(x, 13.0, 13.0) * _bump(z - 1399.0, 11.0, 13.0)
    relief += 4.0 * _ridge(x, z, (25.0, 1188.0), (105.0, 1105.0), 13.0)
    relief -= 3.5 * _bump(x, 9.0, 9.0) * _span(z, 1000.0, 1165.0, 22.0)
    relief -= 3.0 * _ridge(x, z, (66.0, 1150.0), (72.0, 985.0), 13.0)
    relief -= 6.0 * _bump(x, 8.0, 8.0) * _bump(z - 1042.0, 8.0, 7.0)
    relief += 6.0 * _bump(x, 55.0, 55.0) * _bump(z - 965.0, 45.0, 50.0)
    relief += 5.0 * _bump(x - 128.0, 22.0, 22.0) * _bump(z - 985.0, 22.0, 16.0)
    relief -= 6.5 * _ridge(x, z, (128.0, 948.0), (26.0, 838.0), 13.0)
    relief += 7.0 * _bump(x - 92.0, 42.0, 40.0) * _bump(z - 800.0, 60.0, 50.0)
    relief -= 9.0 * _bump(x, 16.0, 16.0) * _span(z, 700.0, 822.0, 16.0)
    return relief


def _back_relief(x: Floats, z: Floats) -> Floats:
    """Height in mm of what is modelled onto the back, at |x| and z."""
    relief = 11.0 * _bump(x - 84.0, 34.0, 30.0) * _bump(z - 1292.0, 58.0, 38.0)
    relief += 4.0 * _ridge(x, z, (62.0, 1330.0), (145.0, 1362.0), 11.0)
    relief += 3.5 * _ridge(x, z, (66.0, 1318.0), (86.0, 1232.0), 10.0)
    relief -= 8.0 * _bump(x, 15.0, 15.0) * _span(z, 985.0, 1375.0, 40.0)
    relief += 6.0 * _bump(x - 40.0, 17.0, 22.0) * _span(z, 975.0, 1185.0, 40.0)
    relief += 5.0 * _bump(x, 13.0, 13.0) * _bump(z - 1432.0, 18.0, 14.0)
    relief += 6.0 * _bump(x - 118.0, 26.0, 22.0) * _bump(z - 1205.0, 60.0, 45.0)
    relief += 23.0 * _bump(x - 76.0, 46.0, 44.0) * _bump(z - 880.0, 46.0, 58.0)
    relief -= 12.0 * _bump(x, 13.0, 13.0) * _span(z, 806.0, 935.0, 22.0)
    relief -= 4.0 * _bump(x - 36.0, 13.0, 13.0) * _bump(z - 968.0, 16.0, 16.0)
    relief -= 5.0 * _ridge(x, z, (16.0, 820.0), (112.0, 826.0), 16.0)
    relief -= 9.0 * _bump(x, 15.0, 15.0) * _span(z, 700.0, 812.0, 14.0)
    return relief


def smooth_union(a: Floats, b: Floats, blend_mm: float | Floats) -> Floats:
    """Join two fields, the crease between them filled over ``blend_mm``."""
    h = np.clip(0.5 + 0.5 * (b - a) / blend_mm, 0.0, 1.0)
    joined: Floats = b * (1 - h) + a * h - blend_mm * h * (1 - h)
    return joined


def smooth_cut(a: Floats, b: Floats, blend_mm: float) -> Floats:
    """Keep what lies inside both fields, the edge between them rounded over ``blend_mm``."""
    return -smooth_union(-a, -b, blend_mm)


def trunk_field(x: Floats, y: Floats, z: Floats, build: Build = DISPLAY) -> Floats:
    """Field of the trunk alone, at |x|, going on upwards and downwards without end."""
    table = build.sections()
    columns = [
        CubicSpline(table[:, 0], table[:, k])(np.clip(z, 740.0, 1530.0)) for k in range(1, 6)
    ]
    breadth, front, back, square_front, square_back = columns
    middle = front + 0.48 * (back - front)
    v = y - middle
    depth = np.where(v < 0, middle - front, back - middle)
    square = np.where(v < 0, square_front, square_back)
    gauge = ((x / breadth) ** square + (np.abs(v) / depth) ** square) ** (1.0 / square)
    radius = np.hypot(x, v) + 1e-6
    facing = 0.5 * (1 + np.tanh(-v / 30.0))
    smooth: Floats = radius - radius / np.maximum(gauge, 1e-6)
    front_relief, back_relief = _front_relief(x, z), _back_relief(x, z)
    modelled = facing * build.bust * front_relief + (1 - facing) * build.seat * back_relief
    trunk: Floats = smooth - modelled
    return trunk


def arm_field(
    x: Floats,
    y: Floats,
    z: Floats,
    build: Build = DISPLAY,
    *,
    table: Floats = _ARM,
    length_mm: float = ARM_LENGTH_MM,
) -> Floats:
    """Field of the left arm alone, at |x|, cut off ``length_mm`` below the shoulder ball.

    ``table`` holds distance along the arm, half width and half depth, (K, 3) mm.
    """
    side = np.cross(np.array([0.0, 1.0, 0.0]), ARM_AXIS)
    side /= np.linalg.norm(side)
    ahead = np.cross(ARM_AXIS, side)
    shoulder = build.shoulder_mm()
    dx, dy, dz = x - shoulder[0], y - shoulder[1], z - shoulder[2]
    along = dx * ARM_AXIS[0] + dy * ARM_AXIS[1] + dz * ARM_AXIS[2]
    across = dx * side[0] + dy * side[1] + dz * side[2]
    deep = dx * ahead[0] + dy * ahead[1] + dz * ahead[2]
    s = np.maximum(along, -10.0)
    within = np.clip(s, table[0, 0], table[-1, 0])
    width, depth = (build.arm * CubicSpline(table[:, 0], table[:, k])(within) for k in (1, 2))
    beyond = np.minimum(along + 10.0, 0.0) * 1.12
    gauge = np.sqrt((across / width) ** 2 + (deep / depth) ** 2 + (beyond / width) ** 2)
    shaft = (gauge - 1.0) * np.minimum(width, depth)
    # the biceps in front and the triceps behind
    front = 0.5 * (1 + np.tanh(-(y - (shoulder[1] + along * ARM_AXIS[1])) / 15.0))
    muscle = front * 3.0 * _bump(along - 165.0, 55.0, 45.0)
    muscle = muscle + (1 - front) * 3.0 * _bump(along - 130.0, 50.0, 60.0)
    return smooth_cut(shaft - muscle, along - length_mm, 12.0)


def armpit_blend_mm(z: Floats) -> Floats:
    """Give a tight fold in the armpit, a full shoulder above it."""
    blend: Floats = 11.0 + 17.0 / (1.0 + np.exp(-(z - 1300.0) / 14.0))
    return blend


def torso_field(x: Floats, y: Floats, z: Floats, build: Build = DISPLAY) -> Floats:
    """Field values at points in the mannequin's frame (z up, facing -y), all arrays broadcast."""
    x = np.abs(x)
    trunk = smooth_cut(trunk_field(x, y, z, build), BOTTOM_MM - z, 12.0)
    trunk = smooth_cut(trunk, z - NECK_TOP_MM, 12.0)
    return smooth_union(trunk, arm_field(x, y, z, build), armpit_blend_mm(z))
