"""What the sheet feels on its way from blank to plate, in the numbers a maker works by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.forming_scale import forming_of
from fitkit.flatten.sheet_limits import grain_direction, sheet_limits
from fitkit.flatten.stretch import strain_within
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.materials.forming import Forming
from fitkit.materials.sheet_material import SheetMaterial, sheet_material_named
from fitkit.patch.design import PatchDesign

__all__ = ["SheetDemand", "anneals", "demand_on_sheet", "hardening_strain", "sheet_demand"]

# A corner's last triangle is no reason to anneal a plate or to redraw it.
_SHARE = 0.99
# Less than this in either direction is nothing a hammer would be lifted for; common practice.
_FELT = 0.005
# A sheet that has to give less than this is only bent.
_NO_STRETCH = 0.002


@dataclass(frozen=True, slots=True, eq=False)
class SheetDemand:
    """What one plate asks of its sheet.

    Attributes
    ----------
    forming
        How it is made.
    size
        The blank's own size over the plate's, as a length: the root of their areas' ratio. Below
        1 the sheet must grow.
    most, least
        Largest and smallest principal stretch anywhere, 1 is none.
    strain
        What 99 % of the plate stays within, the larger of stretch and shrink.
    stretch_mm2, shrink_mm2
        Area of the plate where the sheet must stretch, or shrink, by more than 0.5 %, whichever
        of the two is more there.
    thinnest_mm, thickest_mm
        Thickness left after forming where it is least and most, volume being kept.
    worst_face, worst_mm
        Where the strain is worst: the face, and its middle (2,) float mm on the blank.
    anneals
        Rounds of annealing on the way; None where the material is not annealed.
    over
        How many times the material's limit the strain is, stretch or shrink, the worse of them;
        along and across its grain by the limits there, where the patch tells its grain.
    """

    forming: Forming
    size: float
    most: float
    least: float
    strain: float
    stretch_mm2: float
    shrink_mm2: float
    thinnest_mm: float
    thickest_mm: float
    worst_face: int
    worst_mm: Floats
    anneals: int | None
    over: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "worst_mm", frozen_floats(self.worst_mm, (2,), "worst_mm"))

    @property
    def only_bent(self) -> bool:
        """Whether the sheet has to give so little that bending makes the plate."""
        return self.strain < _NO_STRETCH


def sheet_demand(flat: FlatPatch) -> SheetDemand:
    """Return what a blank's plate asks of its sheet."""
    grain = grain_direction(flat.inner_lines)
    return demand_on_sheet(
        flat.design, flat.form, flat.flat_mm, (flat.stretch, flat.stretch_direction), grain
    )


def demand_on_sheet(
    design: PatchDesign,
    form: TriangleMesh,
    flat_mm: Floats,
    field: tuple[Floats, Floats],
    grain: Floats | None = None,
) -> SheetDemand:
    """Return what a plate asks of its sheet.

    Parameters
    ----------
    field
        Principal stretches from flat to form, (F, 2) float, larger first, and the direction of the
        larger on the flat, (F, 2).
    grain
        (2,) float, unit: direction of the sheet's grain on the flat, where it is known.

    Raises
    ------
    InputError
        When there is no such material in the table.
    """
    material = sheet_material_named(design.material)
    stretch, direction = field
    limits = sheet_limits(material, direction, grain)
    areas = form.face_areas_mm2()
    growth = stretch.prod(axis=1)
    strain = stretch - 1.0
    worst_of_face = np.abs(strain).max(axis=1)
    worst = int(np.argmax(worst_of_face))
    grows = strain[:, 0] >= -strain[:, 1]
    felt = worst_of_face > _FELT
    return SheetDemand(
        forming=forming_of(design),
        size=float(np.sqrt((areas / growth).sum() / areas.sum())),
        most=float(stretch.max()),
        least=float(stretch.min()),
        strain=strain_within(form, stretch, _SHARE),
        stretch_mm2=float(areas[felt & grows].sum()),
        shrink_mm2=float(areas[felt & ~grows].sum()),
        thinnest_mm=design.thickness_mm / float(growth.max()),
        thickest_mm=design.thickness_mm / float(growth.min()),
        worst_face=worst,
        worst_mm=flat_mm[form.faces[worst]].mean(axis=0),
        anneals=anneals(_within(areas, hardening_strain(stretch), _SHARE), material),
        over=max(
            _within(areas, strain[:, 0] / limits.stretch, _SHARE),
            _within(areas, -strain[:, 1] / limits.shrink, _SHARE),
        ),
    )


def hardening_strain(stretch: Floats) -> Floats:
    """Return (F,) float: how far forming hardens the sheet, as a plane-strain true strain.

    ``sqrt(e1^2 + e1 e2 + e2^2)`` of the logarithms of the two principal stretches: von Mises'
    effective strain of a sheet that keeps its volume, scaled so that plane strain counts as it is.

    References
    ----------
    R. Hill, *The Mathematical Theory of Plasticity*, Oxford 1950 (effective strain; from memory).
    """
    first, second = np.log(stretch).T
    result: Floats = np.sqrt(first**2 + first * second + second**2)
    return result


def anneals(strain: float, material: SheetMaterial) -> int | None:
    """Return how often the sheet is softened before it has taken a true strain.

    The first round of forming may put in the material's own limit, each later one that of the
    soft sheet. None for a material that is not annealed.
    """
    if material.pass_limit is None or material.annealed_limit is None:
        return None
    beyond = strain - material.pass_limit
    return max(0, int(np.ceil(beyond / material.annealed_limit - 1e-9)))


def _within(areas: Floats, values: Floats, share: float) -> float:
    """Return the value that the given share of the area stays at or below."""
    order = np.argsort(values, kind="stable")
    covered = np.cumsum(areas[order])
    place = int(np.searchsorted(covered, share * covered[-1]))
    return float(values[order[min(place, len(order) - 1)]])
