"""Solids of known shape as forms to draw on."""

from __future__ import annotations

import numpy as np

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.form import Form
from tests.truth.solids import cylinder, sphere


def form_of(mesh: TriangleMesh, **landmarks: tuple[float, float, float]) -> Form:
    """Return a form without clearance whose trunk axis runs down through the origin's vertical."""
    low, high = mesh.bounds_mm()[:, 2]
    trunk = SegmentAxis("trunk", np.array([0.0, 0.0, high]), np.array([0.0, 0.0, low]))
    body = Body(
        mesh,
        np.zeros(len(mesh.vertices)),
        {"trunk": trunk},
        {name: Landmark(name, np.array(at)) for name, at in landmarks.items()},
    )
    return Form(mesh, 0.0, body)


def cylinder_form(
    radius_mm: float = 100.0, height_mm: float = 400.0, edge_mm: float = 12.0
) -> Form:
    return form_of(cylinder(radius_mm, height_mm, edge_mm))


def sphere_form(radius_mm: float = 200.0, edge_mm: float = 12.0) -> Form:
    return form_of(sphere(radius_mm, edge_mm))


def polygon_radius_mm(mesh: TriangleMesh, bearing_rad: float) -> float:
    """Distance from the axis to the flat-sided wall of an upright cylinder mesh."""
    rim = mesh.vertices[np.abs(mesh.vertices[:, 2] - mesh.vertices[:, 2].min()) < 1e-9][:, :2]
    around = np.linalg.norm(rim, axis=1)
    rim = rim[around > around.max() - 1e-9]
    sides = len(rim)
    turn = np.arctan2(rim[:, 1], rim[:, 0])
    start = np.sort(turn)[0]
    direction = bearing_rad - np.pi / 2
    within = (direction - start) % (2 * np.pi / sides) - np.pi / sides
    return float(around.max() * np.cos(np.pi / sides) / np.cos(within))
