"""The search for relief cuts: its goals on a hemisphere and a saddle."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.flatten.cut_advice import least_strain
from fitkit.flatten.cut_families import CutFamilies
from fitkit.flatten.cut_plan import lay_flat
from fitkit.flatten.cut_search import CutSearch, core_drop
from tests.flatten.cut_disks import flat_disk, radial
from tests.truth import solids

DOME = flat_disk(solids.spherical_cap(100.0, np.pi / 2.0, 7.0))
SADDLE = flat_disk(solids.saddle(100.0, 0.015, 7.0))


def test_hemisphere_to_five_per_cent() -> None:
    """Goal: 4 cuts at most, 4.5 R in all; equal radial cuts took 4.5 R to 4.45 % (own trials)."""
    plan, seen = CutSearch(CutFamilies(DOME), least_strain).fewest(0.05, 6)
    assert plan is not None
    assert plan.strain <= 0.05
    assert plan.overlap_mm2 == 0.0
    assert len(plan.cuts) <= 4
    assert plan.length_mm <= 450.0
    assert plan.pieces == 1
    counts = [len(one.cuts) for one in seen]
    assert counts == sorted(counts), "fewest first"


def test_saddle_is_split_where_a_slit_would_lie_over_itself() -> None:
    search = CutSearch(CutFamilies(SADDLE), least_strain)
    plan, seen = search.fewest(0.05, 6)
    assert plan is None
    assert seen[0].overlap_mm2 > 0.05 * SADDLE.mesh.area_mm2()
    split = lay_flat(SADDLE, search.families.best_through()[0], least_strain)
    assert split is not None
    assert split.pieces == 2
    assert split.meets(0.05)


def test_deeper_cuts_leave_less_and_rank_as_the_flat_does() -> None:
    families = CutFamilies(DOME)
    sets = [tuple(radial(DOME, a, tip) for a in (0.0, 2.1, 4.2)) for tip in (0.7, 0.5, 0.3)]
    left = [families.left(cuts)[0] for cuts in sets]
    assert left == sorted(left, reverse=True)
    laid = [lay_flat(DOME, cuts, least_strain) for cuts in sets]
    strain = [plan.strain for plan in laid if plan is not None]
    assert strain == sorted(strain, reverse=True)
    # About half to three quarters of the range of u: what lets a search go by u alone.
    for u, e in zip(left, strain, strict=True):
        assert 0.45 < 2.0 * np.log1p(e) / u < 0.75


def test_core_is_the_cap_that_lies_flat_by_itself() -> None:
    """A cap of angular radius t needs log(t / sin t) (Milnor 1969); u drops -2 log cos(t/2)."""
    t = 2.0 * np.arccos(np.exp(-core_drop(0.05) / 2.0))
    assert np.log(t / np.sin(t)) == pytest.approx(2.0 * np.log(1.05), rel=1e-9)


def test_barred_edges_and_places_are_left_alone() -> None:
    rim = DOME.flat_mm[DOME.ring]
    barred_edge = 0.5 * (rim + np.roll(rim, -1, axis=0))[:, 0] > 0.0
    place = shapely.Point(-0.7 * np.abs(rim[:, 0]).max(), 0.0).buffer(15.0)
    families = CutFamilies(DOME, barred_edge=barred_edge, barred=place)
    found = [*families.star(3, 0.1), *families.one_more((), 1), *families.through()]
    assert found
    for cuts in found:
        for cut in cuts:
            assert cut.foot_mm[0] < DOME.edge_mm()
            assert not place.intersects(cut.line())
