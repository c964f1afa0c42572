"""Every plate as it is worn, mirrored twins included, with its number and layer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.body.side import Side
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.template.mirror import mirrored_name
from fitkit.template.template import part_title

__all__ = ["WornPlate", "layers_of", "worn_plates"]


@dataclass(frozen=True, slots=True, eq=False)
class WornPlate:
    """One plate where it is worn.

    Attributes
    ----------
    number, name, side
        As on its template.
    design
        Name of the patch it was drawn as; a twin carries that of what it mirrors.
    twin
        Whether it is the mirrored one of a pair.
    layer
        1 for what lies next to the wearer, one more for each plate below.
    mesh
        The formed plate at the middle of its sheet.
    border_mm
        (N, 3) float mm: its edge, the first point not repeated.
    """

    number: int
    name: str
    side: Side
    design: str
    twin: bool
    layer: int
    mesh: TriangleMesh
    border_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "border_mm", frozen_floats(self.border_mm, (None, 3), "border_mm"))

    @property
    def title(self) -> str:
        """Name with side."""
        return part_title(self.name, self.side)

    @property
    def called(self) -> str:
        """Number and name: ``"3 back plate"``."""
        return f"{self.number} {self.title}"


def layers_of(over: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """Return the layer of each patch by name, given the patches that each lies over.

    The patches lie over each other in no ring; :func:`fitkit.patch.layers.lowest_first` sees to
    that before anything is cut.
    """
    layers: dict[str, int] = {}

    def layer(name: str) -> int:
        if name not in layers:
            layers[name] = 1 + max((layer(lower) for lower in over[name]), default=0)
        return layers[name]

    for name in over:
        layer(name)
    return layers


def worn_plates(flats: Sequence[FlatPatch], numbers: Mapping[str, int]) -> tuple[WornPlate, ...]:
    """Return the plates of a job by number.

    Parameters
    ----------
    numbers
        First part number of each patch; a pair takes two.
    """
    layers = layers_of({flat.design.name: flat.design.over for flat in flats})
    plates = []
    for flat in flats:
        design = flat.design
        border = np.concatenate([points[:-1] for points in formed_edges(flat)])
        first = WornPlate(
            numbers[design.name], design.name, design.side, design.name, False,
            layers[design.name], flat.form, border,
        )  # fmt: skip
        plates.append(first)
        if design.paired:
            across = np.array([-1.0, 1.0, 1.0])
            mesh = TriangleMesh(flat.form.vertices * across, flat.form.faces[:, ::-1])
            plates.append(
                WornPlate(
                    first.number + 1, mirrored_name(design.name), design.side.other, design.name,
                    True, first.layer, mesh, (border * across)[::-1],
                )
            )  # fmt: skip
    return tuple(sorted(plates, key=lambda plate: plate.number))
