"""Relief cuts: what the search finds on solids and body patches, beside plainer ways of cutting.

``python -m tests.bench.relief_cuts`` prints the tables of docs/explain/methods.md. A plain way is
laid flat by the same solver in the same run, so that only the cuts differ.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

import numpy as np

from fitkit.flatten.cut_advice import least_strain
from fitkit.flatten.cut_families import CutFamilies
from fitkit.flatten.cut_plan import CutPlan, lay_flat
from fitkit.flatten.cut_search import CutSearch, core_drop
from fitkit.flatten.slit_disk import FlatDisk, StraightCut
from fitkit.flatten.stretch import stretch_field
from fitkit.flatten.symmetric_dirichlet import minimise_symmetric_dirichlet
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.flatten.cut_disks import flat_disk, radial
from tests.truth import solids

RADIUS_MM = 100.0
LIMITS = (0.05, 0.02, 0.01)
MOST_CUTS = 16


def straight_gores(disk: FlatDisk, limit: float) -> CutPlan | None:
    """Cut evenly, almost to the pole: fewest that meet a limit."""
    return _fewest_even(disk, limit, 0.06)


def even_radial(disk: FlatDisk, limit: float) -> CutPlan | None:
    """Cut evenly to the core that may stay whole by Milnor's bound: fewest that meet a limit."""
    t = 2.0 * np.arccos(np.exp(-0.5 * core_drop(limit)))
    return _fewest_even(disk, limit, 0.6 * t / (0.5 * np.pi))


def _fewest_even(disk: FlatDisk, limit: float, tip_share: float) -> CutPlan | None:
    for count in range(2, MOST_CUTS + 1):
        cuts = [radial(disk, a, tip_share) for a in 2.0 * np.pi * np.arange(count) / count]
        plan = lay_flat(disk, cuts, least_strain)
        if plan is not None and plan.meets(limit):
            return plan
    return None


def by_energy(mesh: TriangleMesh, start_mm: Floats) -> Floats:
    """Lay flat by symmetric Dirichlet energy, which keeps the mean strain small, not the worst."""
    return minimise_symmetric_dirichlet(mesh, start_mm).flat_mm


def one_piece(disk: FlatDisk) -> float:
    """Return the strain of a disk uncut."""
    stretch, _ = stretch_field(disk.mesh, least_strain(disk.mesh, disk.flat_mm))
    return float(np.sqrt(stretch.max() / stretch.min()) - 1.0)


def _told(plan: CutPlan | None, over: float) -> str:
    if plan is None:
        return f"none within {MOST_CUTS} cuts"
    return (
        f"{len(plan.cuts)} cuts, {plan.length_mm / over:.2f} R, {100 * plan.strain:.2f} %, overlap "
        f"{plan.overlap_mm2:.2f} mm2"
    )


def hemisphere(limits: Sequence[float]) -> None:
    """Print the table of the hemisphere."""
    disk = flat_disk(solids.spherical_cap(RADIUS_MM, np.pi / 2.0, 5.0))
    print(f"hemisphere, {len(disk.mesh.faces)} triangles, uncut {100 * one_piece(disk):.1f} %")
    for limit in limits:
        print(f"  to {100 * limit:g} %")
        begin = time.process_time()
        search = CutSearch(CutFamilies(disk), least_strain)
        plan, _ = search.fewest(limit, MOST_CUTS)
        print(f"    search:          {_told(plan, RADIUS_MM)}, {_cpu(begin)}")
        if plan is not None:
            more = search.shorter_with_one_more(plan, limit)
            if more is not None:
                print(f"    one more:        {_told(more, RADIUS_MM)}")
            energy = lay_flat(disk, plan.cuts, by_energy)
            if energy is not None:
                print(f"    same, by energy: {100 * energy.strain:.2f} %")
        print(f"    even to a core:  {_told(even_radial(disk, limit), RADIUS_MM)}")
        print(f"    straight gores:  {_told(straight_gores(disk, limit), RADIUS_MM)}")


def saddle() -> None:
    """Print what a saddle takes: one piece, a slit, a cut through."""
    disk = flat_disk(solids.saddle(RADIUS_MM, 1.5 / RADIUS_MM, 4.0))
    print(f"saddle c = 1.5, {len(disk.mesh.faces)} triangles, uncut {100 * one_piece(disk):.1f} %")
    search = CutSearch(CutFamilies(disk), least_strain)
    slit = lay_flat(disk, search.families.ranked(search.families.one_more(()))[0][1], least_strain)
    print(f"    best slit:   {_told(slit, RADIUS_MM)}")
    for cuts in search.families.best_through():
        print(f"    cut through: {_told(lay_flat(disk, cuts, least_strain), RADIUS_MM)}")


def bulges() -> None:
    """Print what an egg-shaped dome takes, whose best cuts are not even."""
    egg = solids.ellipsoid((140.0, 100.0, 80.0), 6.0)
    dome, _ = egg.faces_only(egg.corners[:, :, 2].min(axis=1) > 0.0)
    disk = flat_disk(dome)
    print(f"half egg 140 x 100 x 80, {len(disk.mesh.faces)} triangles")
    print(f"    uncut {100 * one_piece(disk):.1f} %")
    for limit in (0.05, 0.02):
        begin = time.process_time()
        plan, _ = CutSearch(CutFamilies(disk), least_strain).fewest(limit, MOST_CUTS)
        print(f"    to {100 * limit:g} %: {_told(plan, RADIUS_MM)}, {_cpu(begin)}")
        even: list[StraightCut] = []
        for count in range(2, MOST_CUTS + 1):
            even = [radial(disk, a, 0.35) for a in 2.0 * np.pi * np.arange(count) / count]
            laid = lay_flat(disk, even, least_strain)
            if laid is not None and laid.meets(limit):
                print(f"    even: {_told(laid, RADIUS_MM)}")
                break


def _cpu(begin: float) -> str:
    return f"{time.process_time() - begin:.1f} CPU s"


if __name__ == "__main__":
    hemisphere([float(a) for a in sys.argv[1:]] or LIMITS)
    saddle()
    bulges()
