"""Whole bodies of several builds and an armless bust, from capsules and ellipsoids."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from skimage.measure import marching_cubes

from fitkit.body.body import Body
from fitkit.body.joints import find_joints
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import largest_component

__all__ = [
    "BUILDS", "UPPER_ARM", "Build", "assert_joint_centres", "bust", "figure", "whole_body",
]  # fmt: skip

UPPER_ARM = (np.array([165.0, 10.0, 1370.0]), np.array([320.0, 0.0, 1060.0]))
"""Ends of the left upper arm's true axis; the right one is its mirror image."""


def _capsule(p: Floats, a: tuple[float, ...], b: tuple[float, ...], ra: float, rb: float) -> Floats:
    start, along = np.array(a), np.array(b) - np.array(a)
    t = np.clip((p - start) @ along / (along @ along), 0, 1)
    return np.linalg.norm(p - start - t[..., None] * along, axis=-1) - (ra + (rb - ra) * t)


def _ellipsoid(p: Floats, centre: tuple[float, ...], half: tuple[float, ...]) -> Floats:
    return (np.linalg.norm((p - np.array(centre)) / np.array(half), axis=-1) - 1) * min(half)


def _joined(a: Floats, b: Floats, soft: float) -> Floats:
    h = np.clip(0.5 + 0.5 * (b - a) / soft, 0, 1)
    return b + (a - b) * h - soft * h * (1 - h)


def _whole_field(p: Floats) -> Floats:
    p = p * np.array([0, 1, 1]) + np.abs(p) * np.array([1, 0, 0])
    f = _ellipsoid(p, (0, 0, 1230), (165, 115, 200))
    f = _joined(f, _ellipsoid(p, (0, 0, 950), (170, 115, 150)), 60)
    f = _joined(f, _capsule(p, (0, 5, 1380), (0, -5, 1500), 55, 52), 30)
    f = _joined(f, _ellipsoid(p, (0, -15, 1620), (75, 95, 120)), 15)
    f = _joined(f, _capsule(p, tuple(UPPER_ARM[0]), tuple(UPPER_ARM[1]), 52, 40), 25)
    f = _joined(f, _capsule(p, (320, 0, 1060), (430, -40, 820), 38, 28), 10)
    f = _joined(f, _ellipsoid(p, (450, -50, 760), (30, 20, 80)), 12)
    f = _joined(f, _capsule(p, (90, 0, 900), (110, 0, 480), 85, 55), 20)
    f = _joined(f, _capsule(p, (110, 0, 480), (120, 20, 60), 50, 35), 10)
    return _joined(f, _ellipsoid(p, (125, -30, 35), (42, 120, 38)), 10)


def _bust_field(p: Floats) -> Floats:
    f = _ellipsoid(p, (0, 0, 1200), (170, 120, 210))
    f = _joined(f, _ellipsoid(p, (0, 0, 960), (175, 115, 150)), 60)
    f = _joined(f, _capsule(p, (-140, 10, 1370), (140, 10, 1370), 50, 50), 40)
    f = _joined(f, _capsule(p, (0, 5, 1380), (0, -5, 1500), 55, 52), 30)
    return np.maximum(np.maximum(f, p[..., 2] - 1480), 900 - p[..., 2])


def _mesh_of(
    field: Callable[[Floats], Floats], low: tuple[int, ...], high: tuple[int, ...], cell: float
) -> TriangleMesh:
    half_x = round(high[0] / cell) + 0.5
    axes = [np.arange(-half_x, half_x + 1) * cell]
    axes += [np.arange(a, b, cell) + 0.37 for a, b in zip(low[1:], high[1:], strict=True)]
    values = field(np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1))
    points, faces, _, _ = marching_cubes(values, 0.0, spacing=(cell,) * 3)
    mesh = TriangleMesh(points + np.array([axis[0] for axis in axes]), faces)
    if mesh.volume_mm3() < 0:
        mesh = TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])
    return largest_component(mesh)


@lru_cache(maxsize=1)
def whole_body() -> TriangleMesh:
    """Stand 1.74 m tall in A-pose, with head, bent elbows and legs."""
    return _mesh_of(_whole_field, (-510, -210, -20), (510, 200, 1770), 10.0)


@lru_cache(maxsize=1)
def bust() -> TriangleMesh:
    """Make a shop bust: trunk and neck, no arms."""
    return _mesh_of(_bust_field, (-250, -190, 880), (250, 200, 1510), 8.0)


# Heights of crotch and seat over the trochanter's, which a hip's centre is about level with: ANSUR
# II (2012), means of the men's and the women's means, from its individual data.
_CROTCH_OVER_HIP = 0.932
_SEAT_OVER_HIP = 0.986


@dataclass(frozen=True)
class Build:
    """One build of figure; heights are in proportion to the stature, the joints are the truth.

    ``girth`` scales all radii, ``legs`` the height of the hips, ``arms_rad`` is how far the upper
    arms are lifted off the vertical, ``bow_mm`` how far the knees stand out.
    """

    name: str
    stature_mm: float = 1740.0
    girth: float = 1.0
    legs: float = 1.0
    arms_rad: float = 0.45
    bow_mm: float = 8.0
    belly: float = 1.0

    @property
    def scale(self) -> float:
        return self.stature_mm / 1740.0

    def joints(self) -> dict[str, Floats]:
        """Left joint centres in mm; the right ones are their mirror images."""
        s = self.scale
        hip_z = 900.0 * s * self.legs
        crotch = _CROTCH_OVER_HIP * hip_z
        shoulder = np.array([160.0 * self.girth**0.5 * s, 8.0 * s, self._trunk_z(1375.0)])
        lean = np.array([np.sin(self.arms_rad), -0.02, -np.cos(self.arms_rad)])
        elbow = shoulder + 318.0 * s * lean / np.linalg.norm(lean)
        fore = np.array([np.sin(0.8 * self.arms_rad), -0.22, -np.cos(0.8 * self.arms_rad)])
        wrist = elbow + 262.0 * s * fore / np.linalg.norm(fore)
        return {
            "shoulder": shoulder,
            "elbow": elbow,
            "wrist": wrist,
            "hand": wrist + 95.0 * s * fore / np.linalg.norm(fore),
            "hip": np.array([85.0 * self.girth**0.5 * s, 0.0, hip_z]),
            "knee": np.array([95.0 * s + self.bow_mm, -6.0 * s, 0.576 * crotch]),
            "ankle": np.array([105.0 * s, 18.0 * s, 0.084 * crotch]),
        }

    def _trunk_z(self, z: float) -> float:
        """Height of a trunk level drawn for 1740 mm, moved up with the hips."""
        top = 1740.0 * self.scale
        hips = 900.0 * self.scale * self.legs
        return hips + (z - 900.0) / 840.0 * (top - hips)

    def field(self, p: Floats) -> Floats:
        """Distance-like field of the figure: below zero inside."""
        s, g = self.scale, self.girth
        p = np.abs(p) * np.array([1, 0, 0]) + p * np.array([0, 1, 1])
        z, j = self._trunk_z, self.joints()
        r = s * g
        stretch = (z(1430.0) - z(1030.0)) / 400.0
        f = _ellipsoid(p, (0, 0, z(1240)), (158 * r, 112 * r, 200 * stretch))
        f = _joined(f, _ellipsoid(p, (0, -12 * s, z(1090)), (118 * r * self.belly,
                    98 * r * self.belly, 150 * stretch)), 40)  # fmt: skip
        hip_z = float(j["hip"][2])
        crotch, seat = _CROTCH_OVER_HIP * hip_z, _SEAT_OVER_HIP * hip_z
        f = _joined(f, _ellipsoid(p, (0, 0, z(950)), (165 * r, 106 * r, z(950) - crotch)), 45)
        f = _joined(f, _ellipsoid(p, (62 * r, 40 * r, seat), (60 * r, 78 * r, 60 * s)), 35)
        f = _joined(f, _capsule(p, (0, 12 * s, z(1390)), (0, -4 * s, z(1500)), 56 * r, 54 * r), 25)
        f = _joined(f, _ellipsoid(p, (0, -18 * s, z(1621)), (75 * s, 95 * s, 119 * stretch)), 12)

        def limb(a: str, b: str, ra: float, rb: float, soft: float) -> None:
            nonlocal f
            f = _joined(f, _capsule(p, tuple(j[a]), tuple(j[b]), ra * r, rb * r), soft)

        limb("shoulder", "elbow", 50, 40, 25)
        limb("elbow", "wrist", 41, 26, 8)
        limb("wrist", "hand", 26, 37, 1)
        limb("hip", "knee", 82, 55, 15)
        limb("knee", "ankle", 53, 37, 8)
        calf = 0.68 * j["knee"] + 0.32 * j["ankle"] + np.array([0, 14 * s, 0])
        f = _joined(f, _ellipsoid(p, tuple(calf), (46 * r, 46 * r, 110 * s)), 15)
        toe = j["ankle"] + np.array([12 * s, -110 * s, -j["ankle"][2] + 22 * s])
        heel = j["ankle"] + np.array([0, 22 * s, -j["ankle"][2] + 30 * s])
        f = _joined(f, _capsule(p, tuple(heel), tuple(toe), 36 * s, 34 * s), 12)
        return np.maximum(f, -p[..., 2])

    def crotch_mm(self) -> float:
        """Height of the lowest place between the legs that is inside, off a fine line of points."""
        heights = np.arange(500.0, 1100.0, 0.25) * self.scale
        deep = np.arange(-60.0, 61.0, 4.0)
        grid = np.stack(np.meshgrid([0.0], deep, heights, indexing="ij"), axis=-1)
        inside = (self.field(grid)[0] < 0).any(axis=0)
        return float(heights[np.argmax(inside)])


BUILDS = (
    Build("middle"),
    Build("small", stature_mm=1530, girth=0.97, bow_mm=0),
    Build("tall", stature_mm=1930, girth=1.0, legs=1.03, arms_rad=0.55),
    Build("slim", stature_mm=1800, girth=0.86, arms_rad=0.6, bow_mm=14),
    Build("heavy", stature_mm=1700, girth=1.12, belly=1.3, arms_rad=0.75),
    Build("short-legged", stature_mm=1650, legs=0.95, arms_rad=0.5, bow_mm=-4),
)
"""Six whole bodies from small to heavy."""


@lru_cache(maxsize=6)
def figure(build: Build) -> TriangleMesh:
    """Return the figure of a build, standing on flat soles at z = 0, arms off the body."""
    reach = float(build.joints()["hand"][0]) + 60
    reach = 10.0 * np.ceil(reach / 10.0)
    high = int(build.stature_mm + 40)
    return _mesh_of(build.field, (-int(reach), -220, -25), (int(reach), 220, high), 10.0)


def assert_joint_centres(body: Body, build: Build, within_mm: float) -> None:
    """Fail where a joint's centre, as it is found, lies farther from that of the build."""
    joints = find_joints(body)
    for name in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle"):
        for side, sign in (("left", 1.0), ("right", -1.0)):
            off = joints[f"{side} {name}"].centre_mm - build.joints()[name] * [sign, 1, 1]
            assert np.linalg.norm(off) < within_mm, (side, name, off)
