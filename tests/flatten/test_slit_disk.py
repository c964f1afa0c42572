"""Slitting a disk leaves the surface as it is."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.remesh import smallest_angle_rad
from fitkit.flatten.slit_disk import StraightCut, cuts_that_clash, slit_disk
from fitkit.geometry.topology import boundary_loops, components
from tests.flatten.cut_disks import flat_disk, radial
from tests.truth import solids

CAP = flat_disk(solids.spherical_cap(100.0, 1.0, 8.0))


def test_slits_part_vertices_and_nothing_else() -> None:
    cuts = [radial(CAP, angle, 0.4) for angle in (0.3, 2.0, 4.1)]
    slit = slit_disk(CAP, cuts)
    assert slit is not None
    assert slit.mesh.area_mm2() == pytest.approx(CAP.mesh.area_mm2(), rel=2e-3)
    assert np.abs(np.linalg.norm(slit.mesh.vertices, axis=1) - 100.0).max() < 0.2
    (ring,) = boundary_loops(slit.mesh)
    doubled = sum(len(chain) - 1 for chain in slit.chains)
    assert len(slit.mesh.vertices) - len(np.unique(slit.before)) == doubled
    assert len(ring) == len(slit.ring) + 2 * doubled
    for cut, chain in zip(cuts, slit.chains, strict=True):
        where = {int(b): slit.start_mm[v] for v, b in enumerate(slit.before)}
        assert where[int(chain[-1])] == pytest.approx(cut.tip_mm, abs=1e-9)
    assert np.degrees(smallest_angle_rad(slit.mesh)) > 3.0
    # Every old border vertex is still there, exactly.
    old = CAP.mesh.vertices[CAP.ring]
    gaps = np.abs(old[:, None] - slit.mesh.vertices[ring][None]).sum(axis=2).min(axis=1)
    assert gaps.max() == 0.0


def test_a_cut_through_leaves_two_pieces() -> None:
    reach = float(np.linalg.norm(CAP.flat_mm[CAP.ring], axis=1).min())
    across = StraightCut(np.array([-reach, 5.0]), np.array([reach, 5.0]), through=True)
    slit = slit_disk(CAP, [across])
    assert slit is not None
    assert components(slit.mesh).max() == 1
    assert len(boundary_loops(slit.mesh)) == 2


def test_cuts_that_cannot_be_made_are_named() -> None:
    good, other = radial(CAP, 0.3, 0.4), radial(CAP, 2.0, 0.4)
    assert cuts_that_clash(CAP, [good, other]) == []
    assert cuts_that_clash(CAP, [good, radial(CAP, 0.32, 0.4)]) == [1]
    assert cuts_that_clash(CAP, [good, radial(CAP, 2.0, 0.99)]) == [1]
    outwards = StraightCut(other.foot_mm, 2.0 * other.foot_mm)
    assert cuts_that_clash(CAP, [outwards, good]) == [0]
