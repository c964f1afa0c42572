"""Blanks that the template tests share."""

from __future__ import annotations

from typing import Any

import numpy as np

from fitkit.body.side import Side
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import EdgeTreatment
from fitkit.patch.patch import Patch
from tests.truth import solids


def rectangle(width: float = 200.0, height: float = 120.0, **design: Any) -> FlatPatch:
    """Return a flat plate with the edges foot, head, inner and outer; lower left at x = 0."""

    def line(middle: Floats) -> str:
        if middle[2] in (0.0, height):
            return "foot" if middle[2] == 0.0 else "head"
        return "outer" if middle[0] > width / 2.0 else "inner"

    mesh = solids.plane_rectangle(width, height, min(width, height) / 6.0)
    return flatten_patch(solids.patch_of(mesh, lines=line, **design))


def vambrace(**design: Any) -> FlatPatch:
    """Return a tapering sleeve opened along its back line, with a front line and a mid level."""
    mesh = solids.frustum(40.0, 55.0, 200.0, 6.0, capped=False)
    around = len(solids.border_rounds(mesh)[0])
    rows = len(mesh.vertices) // around
    middle = (rows // 2) * around
    # Bearings of the columns run from +x counter-clockwise: a quarter is the back.
    back, front = around // 4, 3 * around // 4
    names = {back: "back line", front: "front line"}
    given: dict[str, Any] = {
        "side": Side.LEFT,
        "paired": True,
        "edges": {"seam": EdgeTreatment("lap", 15.0)},
        "material": "aluminium",
        "thickness_mm": 0.8,
        "seams": ("back line",),
    }
    return flatten_patch(
        solids.patch_of(
            mesh,
            name="vambrace",
            lines=("elbow level", "wrist level"),
            inner={
                "back line": np.arange(rows) * around + back,
                "front line": np.arange(rows) * around + front,
                "mid level": np.append(middle + np.arange(around), middle),
            },
            neighbours=lambda v: names.get(v % around),
            **{**given, **design},
        )
    )


def dome(**design: Any) -> FlatPatch:
    """Return a cap whose rim is level, the wearer's front its up."""
    mesh = solids.spherical_cap(100.0, 0.9, 7.0)
    return flatten_patch(solids.patch_of(mesh, name="skull cap", lines=("hat line",), **design))


def barrel_panels(edge_mm: float = 6.0) -> dict[str, FlatPatch]:
    """Return four panels of a barrel that share lines: upper and lower, left and right.

    ``waist`` runs level between upper and lower, ``centre`` upright between left and right.
    """
    whole = solids.cylinder_panel(120.0, 2.4, 240.0, edge_mm)
    v = whole.vertices
    swell = 1.0 + 0.15 * np.sin(np.pi * v[:, 2] / 240.0)
    mesh = whole.with_vertices(np.column_stack([v[:, :2] * swell[:, None], v[:, 2]]))
    middle = mesh.corners.mean(axis=1)
    waist = float(
        np.sort(np.unique(np.round(v[:, 2], 6)))[len(np.unique(np.round(v[:, 2], 6))) // 3]
    )
    panels = {}
    for side, left in (("left", True), ("right", False)):
        for level, upper in (("upper", True), ("lower", False)):
            keep = ((middle[:, 0] > 0) == left) & ((middle[:, 2] > waist) == upper)
            piece, _ = mesh.faces_only(keep)
            name = f"{side} {level}"
            panels[name] = flatten_patch(_panel(piece, name, waist, 240.0))
    return panels


def _panel(piece: TriangleMesh, name: str, waist: float, top: float) -> Patch:
    def line(point: Floats) -> str:
        distance = {
            "hem": abs(point[2]),
            "waist": abs(point[2] - waist),
            "collar": abs(point[2] - top),
            "centre": abs(point[0]),
        }
        nearest = min(distance, key=lambda one: distance[one])
        return nearest if distance[nearest] < 1e-6 else "side"

    return solids.patch_of(piece, name=name, lines=line, material="aluminium")
