"""Relief cuts on a hemisphere against the figures of equal radial cuts.

The best possible in one piece is exp(log(t / sin t) / 2) - 1 = 25.3 % at t = 90 degrees (J. Milnor,
*A problem in cartography*, American Mathematical Monthly 76, 1969). Equal radial cuts to a whole
core took 4, 8 and 13 cuts, 4.5, 9.1 and 17.0 R, to 5, 2 and 1 % (own trials, p-norm).
"""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.cut_advice import least_strain
from fitkit.flatten.cut_families import CutFamilies
from fitkit.flatten.cut_plan import lay_flat
from fitkit.flatten.cut_search import CutSearch
from tests.flatten.cut_disks import flat_disk
from tests.truth import solids

RADIUS_MM = 100.0


def test_in_one_piece_it_takes_what_milnor_says_it_must() -> None:
    disk = flat_disk(solids.spherical_cap(RADIUS_MM, np.pi / 2.0, 7.0))
    whole = lay_flat(disk, (), least_strain)
    assert whole is not None
    assert np.sqrt(np.pi / 2.0) - 1.0 < whole.strain + 0.002
    assert whole.strain == pytest.approx(np.sqrt(np.pi / 2.0) - 1.0, rel=0.03)


@pytest.mark.slow
@pytest.mark.parametrize(("limit", "most_cuts", "most_radii"), [(0.02, 8, 9.0), (0.01, 12, 16.0)])
def test_hemisphere_to_its_goals(limit: float, most_cuts: int, most_radii: float) -> None:
    disk = flat_disk(solids.spherical_cap(RADIUS_MM, np.pi / 2.0, 6.0))
    search = CutSearch(CutFamilies(disk), least_strain)
    plan, _ = search.fewest(limit, most_cuts)
    assert plan is not None
    plans = [plan]
    more = search.shorter_with_one_more(plan, limit) if len(plan.cuts) < most_cuts else None
    if more is not None:
        plans.append(more)
    assert min(one.length_mm for one in plans) <= most_radii * RADIUS_MM
    for one in plans:
        assert one.strain <= limit
        assert one.overlap_mm2 == 0.0
        assert one.pieces == 1
