"""What forming asks of the sheet, against closed forms and the table."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.sheet_demand import anneals, hardening_strain, sheet_demand
from fitkit.materials.sheet_material import sheet_material_named
from tests.truth import solids


def test_hardening_counts_plane_strain_as_it_is() -> None:
    """Von Mises over 2 / sqrt(3): uniaxial (e, -e/2) gives sqrt(3)/2 e, equal stretch sqrt(3) e."""
    e = 0.1
    strains = np.exp([[e, 0.0], [e, -e / 2.0], [e, e], [e, -e]])
    expected = e * np.array([1.0, np.sqrt(3.0) / 2.0, np.sqrt(3.0), 1.0])
    assert hardening_strain(strains) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("material", "strain", "times"),
    [
        ("aluminium 1100-O", 0.20, 0),
        ("aluminium 1100-O", 0.21, 1),
        ("aluminium 1100-O", 0.41, 2),
        ("aluminium 5052-O", 0.27, 2),
        # A hard temper first takes its own 5 %, then it is soft.
        ("aluminium 6061-T6", 0.04, 0),
        ("aluminium 6061-T6", 0.06, 1),
        ("aluminium 6061-T6", 0.26, 2),
        ("leather", 0.5, None),
    ],
)
def test_anneals_follow_from_what_one_round_may_put_in(
    material: str, strain: float, times: int | None
) -> None:
    """Hill and Swift: a soft sheet necks in plane strain at a true strain of about n."""
    assert anneals(strain, sheet_material_named(material)) == times


def test_dished_cap_thins_as_its_area_grows() -> None:
    """A cap of 30 degrees on the best map: the middle grows alike both ways by 30° / sin 30°.

    Milnor's map for dishing keeps the rim's length, so the middle has stretched by
    alpha / sin(alpha) = 1.0472 each way and keeps 1 / 1.0472^2 of its thickness.
    """
    mesh = solids.spherical_cap(100.0, np.radians(30), 2.0)
    design = {"material": "aluminium 1100-O", "thickness_mm": 1.5, "forming": "dish"}
    flat = flatten_patch(solids.patch_of(mesh, **design))
    demand = sheet_demand(flat)
    assert demand.thinnest_mm == pytest.approx(1.5 / 1.0472**2, rel=2e-3)
    assert demand.thickest_mm <= 1.5 + 1e-9
    assert demand.most == pytest.approx(1.0472, abs=1e-3)
    assert demand.stretch_mm2 > 0.95 * mesh.area_mm2()
    assert demand.anneals == 0
    assert demand.over == pytest.approx((demand.strain - 0.0) / 0.35, rel=0.02)
    assert flat.stretch[demand.worst_face].max() == pytest.approx(demand.most)
    inside = np.linalg.norm(demand.worst_mm - flat.flat_mm[flat.faces[demand.worst_face]].mean(0))
    assert inside < 1e-9


def test_deep_bowl_names_its_anneals_and_its_thinnest_spot() -> None:
    mesh = solids.spherical_cap(100.0, 1.4, 6.0)
    design = {"material": "aluminium 5052-O", "thickness_mm": 1.2, "forming": "dish"}
    flat = flatten_patch(solids.patch_of(mesh, **design))
    demand = sheet_demand(flat)
    (told,) = [f for f in flat.findings if f.code == "anneal"]
    assert demand.anneals is not None
    assert demand.anneals >= 3
    assert told.number == demand.anneals
    assert f"{demand.thinnest_mm:.2f} mm" in told.message
