"""A plain whole body and an armless bust, built from capsules and ellipsoids of known axes."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from skimage.measure import marching_cubes

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import largest_component

__all__ = ["UPPER_ARM", "bust", "whole_body"]

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
