"""The ways to form one plate side by side, before one of them is chosen."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.workflow.step_report import Progress

if TYPE_CHECKING:
    from fitkit.materials.forming import Forming
    from fitkit.patch.design import PatchDesign

__all__ = ["TriedForming", "try_forming"]


@dataclass(frozen=True, slots=True)
class TriedForming:
    """What one way of forming asks.

    Attributes
    ----------
    forming
        The way.
    size
        The blank's size over the plate's, as a length.
    width_mm, height_mm
        The blank's.
    most, least
        Largest and smallest principal stretch, 1 is none.
    thinnest_mm
        Thickness left where it is least.
    anneals
        Rounds of annealing; None where the material is not annealed.
    over
        How many times the material's limit is asked; up to 1 it bears it.
    chosen
        Whether the job says so now.
    """

    forming: str
    size: float
    width_mm: float
    height_mm: float
    most: float
    least: float
    thinnest_mm: float
    anneals: int | None
    over: float
    chosen: bool

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values."""
        return asdict(self)


def try_forming(
    folder: Path | str, patch: str, *, progress: Progress | None = None
) -> tuple[TriedForming, ...]:
    """Lay a patch flat for each way of forming its sheet; the job stays as it is.

    Raises
    ------
    InputError
        When there is no patch of that name.
    JobError
        When the patches have not been cut.
    """
    import numpy as np

    from fitkit.errors import InputError
    from fitkit.flatten.flatten_patch import flatten_patch
    from fitkit.flatten.forming_scale import forming_of
    from fitkit.flatten.sheet_demand import sheet_demand
    from fitkit.job.designs import patch_designs
    from fitkit.job.job_folder import open_job
    from fitkit.job.patch_files import read_patch
    from fitkit.workflow.place_cuts import placed_cuts

    job = open_job(folder)
    designs = {design.name: design for design in patch_designs(job.settings)}
    if patch not in designs:
        raise InputError(
            f"There is no patch called '{patch}'.", f"Use one of: {', '.join(designs)}."
        )
    design = designs[patch]
    cut_out = read_patch(job.result_folder("patches"), design)
    tried = []
    ways = _ways(design)
    for index, way in enumerate(ways):
        if progress is not None:
            progress(index / len(ways), f"'{patch}' made the way '{way}'")
        formed = replace(cut_out, design=replace(design, forming=way))
        flat = flatten_patch(formed, cuts=placed_cuts(job, formed) if design.cuts else ())
        demand = sheet_demand(flat)
        width_mm, height_mm = np.ptp(flat.flat_mm, axis=0)
        tried.append(
            TriedForming(
                way,
                demand.size,
                float(width_mm),
                float(height_mm),
                demand.most,
                demand.least,
                demand.thinnest_mm,
                demand.anneals,
                demand.over,
                way == forming_of(design),
            )
        )
    return tuple(tried)


def _ways(design: PatchDesign) -> tuple[Forming, ...]:
    from fitkit.materials.sheet_material import sheet_material_named

    usual = sheet_material_named(design.material).forming
    all_ways: tuple[Forming, ...] = ("dish", "balanced", "raise")
    return all_ways if usual in all_ways else (usual, *all_ways)
