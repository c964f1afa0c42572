"""A whole body of 1.66 m standing with legs and arms apart, as a field: negative inside.

The trunk and the arms are those of :mod:`tests.truth.torso_field`; legs, feet, lower arms, hands
and head are added, lofted from tables of half widths and half depths along an axis.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline

from fitkit.geometry.arrays import Floats
from tests.truth.torso_field import (
    DISPLAY,
    arm_field,
    armpit_blend_mm,
    smooth_cut,
    smooth_union,
    trunk_field,
)

__all__ = ["ANKLE_MM", "HIP_JOINT_MM", "TOP_MM", "leg_axis", "standing_field"]

TOP_MM = 1660.0
HIP_JOINT_MM = np.array([84.0, -2.0, 850.0])
ANKLE_MM = np.array([165.0, 14.0, 70.0])
_CROTCH_MM = 775.0
_ARM_LENGTH_MM = 640.0

# along the arm in mm from the shoulder ball, half width in the arm's own plane, half depth
_WHOLE_ARM = np.array(
    [
        [-60.0, 43.9, 49.7],
        [-20.0, 46.8, 52.0],
        [25.0, 49.7, 53.0],
        [70.0, 48.2, 49.7],
        [115.0, 43.9, 46.3],
        [160.0, 41.5, 45.4],
        [205.0, 39.6, 43.5],
        [250.0, 37.0, 40.0],
        [290.0, 36.5, 39.0],
        [330.0, 39.0, 40.0],
        [390.0, 35.0, 36.5],
        [450.0, 28.0, 29.5],
        [500.0, 22.5, 27.0],
        [530.0, 23.0, 34.0],
        [570.0, 23.5, 41.0],
        [610.0, 20.0, 37.0],
        [660.0, 15.0, 26.0],
    ]
)
# along the leg in mm from the hip joint, half width, half depth in front and behind
_LEG = np.array(
    [
        [-80.0, 80.0, 84.0, 92.0],
        [0.0, 84.0, 86.0, 94.0],
        [80.0, 83.0, 87.0, 88.0],
        [160.0, 76.0, 82.0, 78.0],
        [240.0, 68.0, 74.0, 68.0],
        [320.0, 60.0, 64.0, 60.0],
        [380.0, 56.0, 62.0, 54.0],
        [430.0, 54.0, 57.0, 56.0],
        [490.0, 57.0, 50.0, 68.0],
        [550.0, 54.0, 46.0, 66.0],
        [620.0, 46.0, 42.0, 52.0],
        [690.0, 37.0, 39.0, 42.0],
        [740.0, 34.0, 39.0, 41.0],
        [790.0, 36.0, 44.0, 46.0],
        [850.0, 36.0, 46.0, 46.0],
    ]
)


def leg_axis() -> Floats:
    """Return the unit vector down the wearer's left leg."""
    way = ANKLE_MM - HIP_JOINT_MM
    axis: Floats = way / np.linalg.norm(way)
    return axis


def _leg(x: Floats, y: Floats, z: Floats) -> Floats:
    axis = leg_axis()
    side = np.cross(np.array([0.0, -1.0, 0.0]), axis)
    side /= np.linalg.norm(side)
    ahead = np.cross(axis, side)
    dx, dy, dz = x - HIP_JOINT_MM[0], y - HIP_JOINT_MM[1], z - HIP_JOINT_MM[2]
    along = dx * axis[0] + dy * axis[1] + dz * axis[2]
    across = dx * side[0] + dy * side[1] + dz * side[2]
    deep = dx * ahead[0] + dy * ahead[1] + dz * ahead[2]
    within = np.clip(along, _LEG[0, 0], _LEG[-1, 0])
    width, before, behind = (CubicSpline(_LEG[:, 0], _LEG[:, k])(within) for k in (1, 2, 3))
    depth = np.where(deep * ahead[1] < 0, before, behind)
    gauge = np.sqrt((across / width) ** 2 + (deep / depth) ** 2)
    shaft = (gauge - 1.0) * np.minimum(width, depth)
    shaft = smooth_cut(shaft, 8.0 - z, 10.0)
    return smooth_cut(shaft, z - (HIP_JOINT_MM[2] + 30.0), 40.0)


def _foot(x: Floats, y: Floats, z: Floats) -> Floats:
    """Give a wedge 245 mm long, pointing a little outward, its sole at 6 mm."""
    turn = np.radians(9.0)
    u, v = x - ANKLE_MM[0], y - ANKLE_MM[1]
    across, ahead = u * np.cos(turn) + v * np.sin(turn), u * np.sin(turn) - v * np.cos(turn)
    along = (ahead - 72.0) / 123.0
    wide = 36.0 + 10.0 * np.exp(-(((ahead - 110.0) / 60.0) ** 2))
    high = 74.0 - 0.27 * np.clip(ahead + 30.0, 0.0, 230.0)
    gauge = (np.abs(along) ** 2.6 + np.abs(across / wide) ** 2.6 + np.abs(z / high) ** 2.2) ** 0.42
    return smooth_cut((gauge - 1.0) * 34.0, 6.0 - z, 6.0)


def _head(x: Floats, y: Floats, z: Floats) -> Floats:
    """Skull and face of a head block without features smaller than a nose."""
    skull = np.sqrt((x / 76.0) ** 2 + ((y - 10.0) / 97.0) ** 2 + ((z - 1572.0) / 88.0) ** 2) - 1.0
    jaw = np.sqrt((x / 58.0) ** 2 + ((y + 33.0) / 58.0) ** 2 + ((z - 1512.0) / 72.0) ** 2) - 1.0
    head = smooth_union(76.0 * skull, 58.0 * jaw, 26.0)
    nose = 16.0 * np.exp(-((x / 11.0) ** 2) - ((z - 1532.0) / 22.0) ** 2)
    front = 0.5 * (1.0 + np.tanh(-(y + 55.0) / 12.0))
    block: Floats = head - front * nose
    return block


def standing_field(x: Floats, y: Floats, z: Floats) -> Floats:
    """Field values at points, z = 0 the floor, facing -y, all arrays broadcast."""
    x = np.abs(x)
    trunk = smooth_cut(trunk_field(x, y, z, DISPLAY), _CROTCH_MM - z, 60.0)
    trunk = smooth_cut(trunk, z - 1500.0, 12.0)
    legs = smooth_union(_leg(x, y, z), _foot(x, y, z), 22.0)
    lower = smooth_union(trunk, legs, 26.0)
    arms = arm_field(x, y, z, DISPLAY, table=_WHOLE_ARM, length_mm=_ARM_LENGTH_MM)
    body = smooth_union(lower, arms, armpit_blend_mm(z))
    return smooth_union(body, _head(x, y, z), 18.0)
