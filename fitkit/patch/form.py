"""The form: the body grown by clothing, padding and air, on which the insides of plates lie."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit.body.body import Body
from fitkit.errors import DesignError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.offset import offset_mesh

__all__ = ["Form", "grow_form"]

_LARGEST_CLEARANCE_MM = 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """The surface that the insides of plates follow.

    Attributes
    ----------
    mesh
        Closed, wound outward, in the body's frame.
    clearance_mm
        Distance from the body, for clothing, padding and air.
    body
        The body it was grown from, with its axes and landmarks.
    """

    mesh: TriangleMesh
    clearance_mm: float
    body: Body


def grow_form(
    body: Body,
    *,
    clearance_mm: float,
    cell_mm: float = 4.0,
    progress: Callable[[float, str], None] | None = None,
) -> Form:
    """Return the form at a clearance from the body.

    Hollows narrower than twice the clearance close. Every girth that a taut tape follows
    grows by 2 pi times the clearance (Steiner). Without clearance the form is the body's
    own surface.

    Parameters
    ----------
    clearance_mm
        From 0 to 150: clothing, padding and air together.
    cell_mm
        About the edge length of the form's triangles.

    Raises
    ------
    DesignError
        When the clearance is negative, not finite or larger than 150 mm.
    """
    if not (np.isfinite(clearance_mm) and 0 <= clearance_mm <= _LARGEST_CLEARANCE_MM):
        raise DesignError(
            f"A clearance of {clearance_mm:g} mm cannot be used.",
            "Give the space for clothing, padding and air, "
            f"from 0 to {_LARGEST_CLEARANCE_MM:g} mm.",
        )
    if clearance_mm == 0:
        return Form(body.mesh, 0.0, body)
    mesh = offset_mesh(body.mesh, clearance_mm, cell_mm=cell_mm, progress=progress)
    return Form(mesh, float(clearance_mm), body)
