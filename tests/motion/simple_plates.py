"""Tubes and a bowl on a hinge, whose contacts can be worked out with a pencil."""

from __future__ import annotations

import numpy as np

from fitkit.body.joints import Joint
from fitkit.body.side import Side
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.movement import Movement
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.skin_body import SkinBody

__all__ = ["FAR_SKIN", "ball", "bowl", "hinge", "plate", "sheet_of", "tube"]

_DOWN = np.array([0.0, 0.0, -1.0])


def sheet_of(grid: Floats, *, closed: bool = False) -> TriangleMesh:
    """Return the mesh of a grid of points (H, W, 3), its columns joined round when closed."""
    height, width = grid.shape[:2]
    columns = np.arange(width if closed else width - 1)
    after = (columns + 1) % width
    rows = np.arange(height - 1)[:, None] * width
    a, b = rows + columns, rows + after
    c, d = a + width, b + width
    faces = np.concatenate([np.stack([a, b, d], -1), np.stack([a, d, c], -1)]).reshape(-1, 3)
    return TriangleMesh(grid.reshape(-1, 3), faces)


def tube(
    wide_mm: float, deep_mm: float, low_mm: float, high_mm: float, step_mm: float = 4.0
) -> TriangleMesh:
    """Make an upright elliptical tube; half axes across x and y, from one height to another."""
    turn = np.linspace(0.0, 2 * np.pi, 96, endpoint=False)
    z = np.linspace(low_mm, high_mm, int(np.ceil((high_mm - low_mm) / step_mm)) + 1)
    grid = np.empty((len(z), len(turn), 3))
    grid[..., 0] = wide_mm * np.sin(turn)
    grid[..., 1] = -deep_mm * np.cos(turn)
    grid[..., 2] = z[:, None]
    return sheet_of(grid, closed=True)


def ball(radius_mm: float) -> TriangleMesh:
    """Make a closed sphere about the origin, edges of 3 to 4 mm."""
    import open3d as o3d

    made = o3d.geometry.TriangleMesh.create_sphere(radius_mm, round(0.9 * radius_mm))
    return TriangleMesh(np.asarray(made.vertices), np.asarray(made.triangles).astype(np.int64))


def bowl(radius_mm: float, low_rad: float, high_rad: float, half_wide_rad: float) -> TriangleMesh:
    """Make a piece of a sphere about the origin in front, between elevations and bearings."""
    up = np.linspace(low_rad, high_rad, 25)
    side = np.linspace(-half_wide_rad, half_wide_rad, 61)
    grid = np.empty((len(up), len(side), 3))
    grid[..., 0] = radius_mm * np.cos(up)[:, None] * np.sin(side)
    grid[..., 1] = -radius_mm * np.cos(up)[:, None] * np.cos(side)
    grid[..., 2] = radius_mm * np.sin(up)[:, None]
    return sheet_of(grid)


FAR_SKIN = TriangleMesh(
    np.array([[9e3, 9e3, 0], [9e3 + 1, 9e3, 0], [9e3, 9e3 + 1, 0]]), np.array([[0, 1, 2]])
)
"""A scrap of skin far off, for plates that are held against each other alone."""


def hinge(
    centre_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
    axis: tuple[float, float, float] = (-1.0, 0.0, 0.0),
    to_deg: float = 120.0,
    skin: TriangleMesh = FAR_SKIN,
) -> tuple[SkinBody, AskedRange]:
    """Return a body with one elbow, and that elbow bent to an angle."""
    joint = Joint("left elbow", np.array(centre_mm), "left upper arm", "left forearm", _DOWN, _DOWN,
                  20.0, 1.0, "told")  # fmt: skip
    unit = np.array(axis) / np.linalg.norm(axis)
    movement = Movement("left elbow bend", joint.name, unit, 0.0, "elbow bend")
    body = SkinBody(skin, {joint.name: joint}, {joint.name: np.zeros(len(skin.vertices))})
    asked = AskedRange(movement.name, ((movement, float(np.radians(to_deg))),), "wanted")
    return body, asked


def plate(
    name: str, mesh: TriangleMesh, *, beyond: bool, thickness_mm: float = 0.01
) -> RidingPlate:
    """Make a plate before or beyond the elbow."""
    shares = {"left elbow": 1.0} if beyond else {}
    return RidingPlate(name, name, Side.CENTRE, mesh, thickness_mm, shares)
