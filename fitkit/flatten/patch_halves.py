"""The two patches that a cut right through makes of one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import polylabel, split

from fitkit.errors import DesignError
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.form_to_flat import on_flat
from fitkit.flatten.remesh import place_on_faces
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["PatchHalf", "patch_halves"]

# A line bounds a half that has more than this much of it.
_BOUNDS_MM = 2.0
_BEYOND_MM = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class PatchHalf:
    """One half: where it lies beside the other, its boundary lines, and a place inside.

    ``where`` is ``upper`` or ``lower``, ``front`` or ``back``, ``inner`` or ``outer`` (nearer to
    the wearer's middle or further from it); ``inside_mm`` (3,) float mm on the form.
    """

    where: str
    lines: tuple[str, ...]
    inside_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "inside_mm", frozen_floats(self.inside_mm, (3,), "inside_mm"))


def patch_halves(flat: FlatPatch, line_mm: Floats) -> tuple[PatchHalf, PatchHalf]:
    """Return the halves of a patch that a line from edge to edge makes.

    Parameters
    ----------
    line_mm
        (N, 3) float mm on the form.

    Raises
    ------
    DesignError
        When the line does not part the patch in two.
    """
    on_form, faces, _ = nearest_on_mesh(flat.form, line_mm)
    across = on_flat(flat.form, flat.flat_mm, on_form, faces)
    for end, before in ((0, 1), (-1, -2)):
        way = across[end] - across[before]
        across[end] += _BEYOND_MM * way / np.linalg.norm(way)
    outline = shapely.Polygon(np.concatenate([edge.points_mm[:-1] for edge in flat.outline]))
    parts = list(split(outline, shapely.LineString(across)).geoms)
    if len(parts) != 2:
        raise DesignError(
            f"The line does not part the patch '{flat.design.name}' in two.",
            "Take another choice, or draw a tape line across it by hand.",
        )
    middles = []
    lines = []
    for part in parts:
        middle = polylabel(part, 1.0)
        at, weights = place_on_faces(
            np.array([[middle.x, middle.y]]), flat.flat_mm, flat.form.faces
        )
        middles.append(np.einsum("nk,nkd->nd", weights, flat.form.corners[at])[0])
        rim = part.exterior.buffer(0.05)
        touched = {
            edge.line
            for edge in flat.outline
            if shapely.LineString(edge.points_mm).intersection(rim).length > _BOUNDS_MM
        }
        lines.append(tuple(sorted(touched)))
    first, second = middles
    names = _where(first, second)
    return PatchHalf(names[0], lines[0], first), PatchHalf(names[1], lines[1], second)


def _where(first: Floats, second: Floats) -> tuple[str, str]:
    apart = first - second
    axis = int(np.argmax(np.abs(apart)))
    if axis == 2:
        return ("upper", "lower") if apart[2] > 0 else ("lower", "upper")
    if axis == 1:
        return ("back", "front") if apart[1] > 0 else ("front", "back")
    return ("outer", "inner") if abs(first[0]) > abs(second[0]) else ("inner", "outer")
