"""Which forms a design needs, and which patches are cut from each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.patch.design import PatchDesign
from fitkit.patch.layers import lowest_first

__all__ = ["FormPlan", "plan_forms"]


@dataclass(frozen=True, slots=True)
class FormPlan:
    """One form and what is cut from it.

    Attributes
    ----------
    clearance_mm, thickness_mm, bridge_mm
        See :func:`fitkit.patch.form.grow_form`.
    over
        Names of the patches that lie under all of these.
    designs
        The patches, in the order of the design.
    """

    clearance_mm: float
    thickness_mm: float
    bridge_mm: float
    over: tuple[str, ...]
    designs: tuple[PatchDesign, ...]

    @property
    def distance_mm(self) -> float:
        """From the body to the middle of the sheet."""
        return self.clearance_mm + 0.5 * self.thickness_mm

    def words(self) -> str:
        """Return what tells the form from others."""
        said = f"{self.clearance_mm:g} mm, sheet {self.thickness_mm:g} mm"
        if self.bridge_mm > 0:
            said += f", bridged by {self.bridge_mm:g} mm"
        if self.over:
            said += f", over {', '.join(self.over)}"
        return said


def plan_forms(designs: Sequence[PatchDesign]) -> tuple[FormPlan, ...]:
    """Return the forms in an order in which each comes after those of the patches below it.

    Patches of one clearance, thickness, bridging radius and layer share a form, so that
    neighbours share their seam point for point.

    Raises
    ------
    DesignError
        As :func:`fitkit.patch.layers.lowest_first`.
    """
    groups: dict[tuple[float, float, float, tuple[str, ...]], list[PatchDesign]] = {}
    for design in lowest_first(designs):
        key = (design.clearance_mm or 0.0, design.thickness_mm, design.bridge_mm, design.over)
        groups.setdefault(key, []).append(design)
    order = {design.name: at for at, design in enumerate(designs)}
    return tuple(
        FormPlan(*key, tuple(sorted(group, key=lambda one: order[one.name])))
        for key, group in groups.items()
    )
