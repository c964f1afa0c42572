"""The form: where the sheet of a plate lies, over body, clothing, padding, air and other plates."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fitkit.body.body import Body
from fitkit.body.body_parts import body_parts
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.offset import OffsetField

__all__ = ["Form", "FormGrower", "grow_form"]

_LARGEST_CLEARANCE_MM = 150.0
_LARGEST_BRIDGE_MM = 500.0


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """The surface that the middle of a plate's sheet follows.

    A sheet that is bent keeps its length in its middle: what is flattened is the surface half a
    thickness outside the one that the inside of the plate lies on.

    Attributes
    ----------
    mesh
        Closed, wound outward, in the body's frame.
    clearance_mm
        Distance of the sheet's inside from the body, for clothing, padding and air.
    body
        The body it was grown from, with its axes and landmarks.
    thickness_mm
        The sheet's, half of which lies between clearance and form.
    bridge_mm
        Radius of the ball by which hollows are bridged, 0 for none.
    """

    mesh: TriangleMesh
    clearance_mm: float
    body: Body
    thickness_mm: float = 0.0
    bridge_mm: float = 0.0


class FormGrower:
    """Grows the forms of one body; what they have in common is worked out once.

    Parameters
    ----------
    body
        The wearer's.
    raised_mm
        (V,) float mm, never negative: how far padding and other plates raise the body's surface
        at each vertex, before clearance; None for nowhere.
    furthest_mm
        The largest clearance and half thickness together that will be asked for.
    cell_mm
        About the edge length of the forms' triangles.
    """

    def __init__(
        self,
        body: Body,
        *,
        raised_mm: Floats | None = None,
        furthest_mm: float = _LARGEST_CLEARANCE_MM,
        cell_mm: float = 4.0,
    ) -> None:
        self._body = body
        raised = raised_mm is not None and bool((raised_mm > 0).any())
        self._raised = raised_mm if raised else None
        self._furthest_mm = furthest_mm
        self._cell_mm = cell_mm
        self._field: OffsetField | None = None
        self._parts: tuple[TriangleMesh, ...] | None = None

    def grow(
        self,
        clearance_mm: float,
        *,
        thickness_mm: float = 0.0,
        bridge_mm: float = 0.0,
        progress: Callable[[float, str], None] | None = None,
    ) -> Form:
        """Return a form; see :func:`grow_form`."""
        _check(clearance_mm, thickness_mm, bridge_mm)
        distance_mm = clearance_mm + 0.5 * thickness_mm
        made = (float(clearance_mm), self._body, float(thickness_mm), float(bridge_mm))
        if distance_mm == 0 and bridge_mm == 0 and self._raised is None:
            return Form(self._body.mesh, *made)
        if self._field is None:
            mesh = _raised(self._body.mesh, self._raised)
            reach_mm = max(self._furthest_mm, distance_mm)
            self._field = OffsetField(mesh, cell_mm=self._cell_mm, reach_mm=reach_mm)
        if bridge_mm > 0 and self._parts is None:
            whole = _raised(self._body.mesh, self._raised)
            self._parts = body_parts(replace(self._body, mesh=whole))
        mesh = self._field.surface(
            distance_mm, bridge_mm=bridge_mm, parts=self._parts or (), progress=progress
        )
        return Form(mesh, *made)


def grow_form(
    body: Body,
    *,
    clearance_mm: float,
    thickness_mm: float = 0.0,
    bridge_mm: float = 0.0,
    raised_mm: Floats | None = None,
    cell_mm: float = 4.0,
    progress: Callable[[float, str], None] | None = None,
) -> Form:
    """Return the form at a clearance and half a sheet's thickness from the body.

    Hollows narrower than twice the distance close. Every girth that a taut tape follows
    grows by 2 pi times it (Steiner). With neither clearance nor thickness the form is the
    body's own surface.

    Parameters
    ----------
    clearance_mm
        From 0 to 150: clothing, padding and air together.
    thickness_mm
        The sheet's.
    bridge_mm
        A rigid plate spans what a ball of this radius cannot touch: spine, breastbone, waist.
        Trunk, arms and legs are bridged each by itself.
    raised_mm
        (V,) float mm: how far padding and other plates raise the body's surface.
    cell_mm
        About the edge length of the form's triangles.

    Raises
    ------
    DesignError
        When the clearance is negative, not finite or larger than 150 mm, the thickness is
        negative, or the radius is negative or larger than 500 mm.
    """
    _check(clearance_mm, thickness_mm, bridge_mm)
    grower = FormGrower(
        body,
        raised_mm=raised_mm,
        furthest_mm=clearance_mm + 0.5 * thickness_mm,
        cell_mm=cell_mm,
    )
    return grower.grow(
        clearance_mm, thickness_mm=thickness_mm, bridge_mm=bridge_mm, progress=progress
    )


def _raised(mesh: TriangleMesh, raised_mm: Floats | None) -> TriangleMesh:
    """Return a mesh with its vertices lifted along their normals.

    Where the walls of a hollow pass through each other the distance from the outermost still
    holds; the pocket they enclose is dropped with every other hollow inside a form.
    """
    if raised_mm is None:
        return mesh
    return mesh.with_vertices(mesh.vertices + raised_mm[:, np.newaxis] * mesh.vertex_normals())


def _check(clearance_mm: float, thickness_mm: float, bridge_mm: float) -> None:
    if not (np.isfinite(clearance_mm) and 0 <= clearance_mm <= _LARGEST_CLEARANCE_MM):
        raise DesignError(
            f"A clearance of {clearance_mm:g} mm cannot be used.",
            "Give the space for clothing, padding and air, "
            f"from 0 to {_LARGEST_CLEARANCE_MM:g} mm.",
        )
    if not (np.isfinite(thickness_mm) and thickness_mm >= 0):
        raise DesignError(
            f"A sheet {thickness_mm:g} mm thick cannot be used.", "Give its thickness in mm."
        )
    if not 0 <= bridge_mm <= _LARGEST_BRIDGE_MM:
        raise DesignError(
            f"Hollows cannot be bridged by a radius of {bridge_mm:g} mm.",
            f"Give a radius from 0 (follow every hollow) to {_LARGEST_BRIDGE_MM:g} mm.",
        )
