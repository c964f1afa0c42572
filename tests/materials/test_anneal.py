"""Annealing temperatures against what handbooks and suppliers print."""

from __future__ import annotations

import pytest

from fitkit.materials.anneal import anneal_of
from fitkit.materials.sheet_material import sheet_materials


@pytest.mark.parametrize(
    ("material", "celsius", "margin"),
    [
        # 650 °F, alloy supplier's page: seen. Margins to the start of melting: computed.
        ("aluminium 5052-H32", (343.0, 343.0), 265.0),
        # 650 to 775 °F, metal supplier's page: seen.
        ("aluminium 3003-H14", (343.0, 413.0), 230.0),
        # 775 °F (AMS 2770, from memory).
        ("aluminium 6061-T6", (413.0, 413.0), 170.0),
    ],
)
def test_temperature_and_margin(material: str, celsius: tuple[float, float], margin: float) -> None:
    anneal = anneal_of(material)
    assert anneal is not None
    assert anneal.celsius == celsius
    assert anneal.margin_kelvin == pytest.approx(margin, abs=2.0)
    fahrenheit = [round((c * 9 / 5 + 32) / 25) * 25 for c in celsius]
    assert set(fahrenheit) <= {650, 775}


def test_what_hardens_can_be_annealed_and_nothing_else() -> None:
    for material in sheet_materials():
        assert (anneal_of(material.name) is not None) == (material.pass_limit is not None)


def test_an_alloy_not_known_takes_the_lowest_of_all() -> None:
    unknown = anneal_of("aluminium")
    assert unknown is not None
    known = [
        anneal
        for m in sheet_materials()
        if m.name.startswith("aluminium ")
        if (anneal := anneal_of(m.name))
    ]
    assert unknown.celsius[1] == min(anneal.celsius[0] for anneal in known)
    assert unknown.melts_celsius == min(anneal.melts_celsius for anneal in known)
    assert "not known" in unknown.caution
