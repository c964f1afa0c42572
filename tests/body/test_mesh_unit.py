from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.mesh_unit import MeshUnit, mesh_in_mm
from fitkit.errors import InputError
from fitkit.units import MM_PER_UNIT
from tests.truth import solids

TALL = solids.cylinder(100, 1720, 120)


def sized(unit: str) -> object:
    return TALL.with_vertices(TALL.vertices / MM_PER_UNIT[unit])


@pytest.mark.parametrize("unit", list(MM_PER_UNIT))
def test_a_given_unit_is_taken(unit: MeshUnit) -> None:
    mesh, findings = mesh_in_mm(sized(unit), unit=unit)  # type: ignore[arg-type]
    assert np.ptp(mesh.vertices[:, 2]) == pytest.approx(1720)
    assert findings == ()


@pytest.mark.parametrize(
    ("unit", "best"), [("cm", "cm (1.72 m)"), ("m", "m (1.72 m)"), ("in", "in (1.72 m)")]
)
def test_without_a_unit_three_readings_are_offered_the_right_one_first(
    unit: str, best: str
) -> None:
    with pytest.raises(InputError, match="in what unit") as caught:
        mesh_in_mm(sized(unit), called="torso.stl")  # type: ignore[arg-type]
    readings = caught.value.remedy.split("readings are ")[1]
    assert readings.startswith(best)
    assert readings.count("(") == 3
    assert "--unit" in caught.value.remedy
    assert "torso.stl" in caught.value.cause


def test_a_size_that_only_millimetres_make_a_body_is_taken_and_told() -> None:
    mesh, (finding,) = mesh_in_mm(TALL)
    assert mesh is TALL
    assert finding.code == "mesh-unit-assumed"


def test_a_size_with_two_readings_is_asked_about() -> None:
    """172 could be a forearm in millimetres or a wearer in centimetres."""
    with pytest.raises(InputError, match="172") as caught:
        mesh_in_mm(sized("cm"))  # type: ignore[arg-type]
    assert "cm (1.72 m)" in caught.value.remedy
    assert "mm (172 mm)" in caught.value.remedy


def test_a_unit_that_makes_a_giant_is_refused() -> None:
    with pytest.raises(InputError, match=r"17\.2 m") as caught:
        mesh_in_mm(TALL, unit="cm")
    assert "mm (1.72 m)" in caught.value.remedy
