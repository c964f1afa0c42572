"""The book's masses against closed forms, and its parts in order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.shop.build_book import build_book
from fitkit.template.make_templates import make_templates
from tests.truth import solids


@pytest.mark.parametrize("material", ["aluminium 5052-O", "leather"])
def test_blank_as_large_as_a_hemisphere_weighs_as_its_shell(material: str) -> None:
    """Shell of inner and outer radius R -+ t/2: 2 pi / 3 (Ro^3 - Ri^3) rho (closed form).

    A disc of radius R sqrt 2 has the area of a hemisphere of radius R, and forming keeps the
    volume; density by the handbook (2.68 g/cm3 for 5052).
    """
    radius, thickness = 60.0, 1.5
    disc = solids.saddle(radius * np.sqrt(2.0), 0.0, 4.0)
    design = {"material": material, "thickness_mm": thickness}
    flat = flatten_patch(solids.patch_of(disc, name="knee cop", lines=("rim",), **design))
    templates = make_templates(flat, number=1, job_name="Heron Warden", wearer="")
    book = build_book([flat], templates, (), job="", wearer="", numbers={"knee cop": 1}, axes={})
    outer, inner = radius + 0.5 * thickness, radius - 0.5 * thickness
    shell_mm3 = 2.0 * np.pi / 3.0 * (outer**3 - inner**3)
    density = sheet_material_named(material).density_kg_m3
    # The rim is drawn with chords of 4 mm.
    assert book.parts[0].mass_kg == pytest.approx(shell_mm3 * density * 1e-9, rel=2e-3)
    assert book.mass_kg == book.parts[0].mass_kg


def test_layers_and_parts_come_in_order() -> None:
    plate = flatten_patch(solids.patch_of(solids.plane_rectangle(90.0, 60.0, 10.0), name="lower"))
    upper = replace(plate, design=replace(plate.design, name="upper", over=("lower",)))
    flats = [upper, plate]
    templates = [
        template
        for number, flat in enumerate(flats, 1)
        for template in make_templates(flat, number=number, job_name="", wearer="")
    ]
    book = build_book(
        flats, templates, (), job="", wearer="", numbers={"upper": 1, "lower": 2}, axes={}
    )
    assert [part.template.title for part in book.parts] == ["upper", "lower"]
    assert {layer: [p.name for p in plates] for layer, plates in book.layers.items()} == {
        1: ["lower"],
        2: ["upper"],
    }
    assert [step.title for step in book.assembly] == ["Hang 2 lower", "Hang 1 upper"]
    assert {"worn", "pinch", "release", "knife"} <= set(book.cautions)


def test_what_is_cut_without_a_page_is_told_too() -> None:
    """A strap has a template and no patch: 90 by 60 mm of leather 3 mm weigh 54 cm2 of it."""
    plate, strap = (
        flatten_patch(
            solids.patch_of(solids.plane_rectangle(90.0, 60.0, 10.0), name=name, **design)
        )
        for name, design in (("plate", {}), ("strap", {"material": "leather", "thickness_mm": 3.0}))
    )
    templates = [
        template
        for number, flat in enumerate((plate, strap), 1)
        for template in make_templates(flat, number=number, job_name="", wearer="")
    ]
    book = build_book([plate], templates, (), job="", wearer="", numbers={"plate": 1}, axes={})
    (piece,) = book.pieces
    assert piece.template.title == "strap"
    assert piece.size_mm == pytest.approx((90.0, 60.0), abs=1e-6)
    assert piece.area_mm2 == pytest.approx(5400.0, rel=1e-6)
    density = sheet_material_named("leather").density_kg_m3
    assert piece.mass_kg == pytest.approx(5400.0 * 3.0 * density * 1e-9, rel=1e-6)
    assert [part.template.title for part in book.parts] == ["plate"]
