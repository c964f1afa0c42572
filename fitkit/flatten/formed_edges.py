"""Where the edges of a blank lie on the form."""

from __future__ import annotations

from scipy.spatial import cKDTree

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats

__all__ = ["TOGETHER_MM", "formed_edges"]

TOGETHER_MM = 2.0
"""Edges this near each other on the form are one seam; plates on other layers are further apart."""


def formed_edges(flat: FlatPatch) -> list[Floats]:
    """Return each edge's points on the form, (N, 3) mm: those of the flat vertices they lie on."""
    vertices = cKDTree(flat.flat_mm)
    return [flat.form.vertices[vertices.query(edge.points_mm)[1]] for edge in flat.outline]
