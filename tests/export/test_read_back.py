"""Templates printed, rasterised at 1200 dpi and measured: holes and match marks.

What is asked: any two rivet holes' distance within 0.05 mm of the model, the holes of two plates
meeting in space within 0.2 mm, match marks that belong together within 0.3 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely

from fitkit.drawing.drawing import Layer
from fitkit.drawing.page import PageSet
from fitkit.drawing.paper import PAPERS
from fitkit.drawing.tiling import tile_drawings
from fitkit.export.page_pdf import pdf_of_pages
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Floats
from fitkit.patch.design import EdgeTreatment, RivetRow
from fitkit.template.blank_edges import blank_edges
from fitkit.template.make_templates import make_templates
from fitkit.template.mark_numbers import mark_numbers
from fitkit.template.match_marks import match_marks
from fitkit.template.rivet_joint import RivetHoles, rivet_holes
from fitkit.template.template import Template
from tests.export.page_reading import POINTS_PER_MM, darkest_place, raster
from tests.template.parts import barrel_panels
from tests.template.test_rivet_joint import on_form

PX_PER_MM = 1200.0 / 25.4
NAMES = ("left upper", "left lower")


@dataclass(frozen=True)
class Printed:
    """Two plates riveted along the waist, with their pages."""

    flats: tuple[FlatPatch, ...]
    rows: tuple[RivetHoles, ...]
    templates: tuple[Template, ...]
    pages: PageSet
    pdf: bytes


@cache
def printed() -> Printed:
    panels = barrel_panels()
    flats = []
    for name in NAMES:
        design = replace(panels[name].design, thickness_mm=1.0)
        if name == "left upper":
            row = EdgeTreatment("lap", rivets=RivetRow("blind 3.2"))
            design = replace(design, edges={"waist": row})
        flats.append(replace(panels[name], design=design))
    rows, findings = rivet_holes(flats)
    assert findings == ()
    numbers = mark_numbers(flats)
    templates = []
    for number, flat in enumerate(flats, start=1):
        own = [row for row in rows if row.patch == flat.design.name]
        templates += make_templates(
            flat, number=number, job_name="Heron", wearer="", rivets=own, numbers=numbers
        )
    pages = tile_drawings(
        [template.drawing for template in templates], paper=PAPERS["A3"], title="read back"
    )
    return Printed(tuple(flats), rows, tuple(templates), pages, pdf_of_pages(pages))


def crop(sheet: pdfium.PdfPage, about_mm: Floats, reach_mm: float) -> tuple[Floats, Floats]:
    """Darkness (H, W) round a place of a page, row 0 lowest, and its lower left corner in mm."""
    low = np.floor((about_mm - reach_mm) * POINTS_PER_MM) / POINTS_PER_MM
    high = np.ceil((about_mm + reach_mm) * POINTS_PER_MM) / POINTS_PER_MM
    grey = raster(sheet, dpi=1200.0, low_mm=low, high_mm=high).astype(np.float64)
    return np.clip(255.0 - grey[::-1], 0.0, None), low


def hole_centre_mm(sheet: pdfium.PdfPage, about_mm: Floats, radius_mm: float) -> Floats:
    """Centre of a printed hole: of the circle through its ring, read along rays from within.

    Rays that meet something else, such as a tick's line, are left out as outliers.
    """
    dark, low = crop(sheet, about_mm, radius_mm + 1.5)
    reach = np.arange(-0.5, 0.5, 0.004)
    angles = np.radians([a for a in range(5, 360, 10) if 15 < a % 90 < 75])
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    places = []
    for way in ways:
        line = (about_mm - low + (radius_mm + reach)[:, None] * way) * PX_PER_MM - 0.5
        x, y = np.rint(line).astype(int).T
        profile = dark[y, x]
        read = float(profile @ reach) / float(profile.sum())
        places.append(about_mm + (radius_mm + read) * way)
    points = np.array(places)
    for _ in range(3):
        own = points - points.mean(axis=0)
        terms = np.column_stack([2.0 * own, np.ones(len(own))])
        (x, y, _), *_ = np.linalg.lstsq(terms, np.sum(own**2, axis=1), rcond=None)
        centre = points.mean(axis=0) + np.array([x, y])
        off = np.linalg.norm(points - centre, axis=1)
        off = np.abs(off - np.median(off))
        points = points[off <= max(0.01, 3.0 * float(np.median(off)))]
    return np.asarray(centre)


def page_of(part: int) -> tuple[int, object]:
    for index, page in enumerate(printed().pages.pages):
        for window in page.windows:
            if window.part == part:
                return index, window
    raise AssertionError(part)


@cache
def holes_read(part: int) -> tuple[Floats, Floats]:
    """Centres of a part's holes as printed, on the part, and as drawn."""
    index, window = page_of(part)
    sheet = pdfium.PdfDocument(printed().pdf)[index]
    holes = printed().templates[part].drawing.holes
    drawn = np.array([hole.centre_mm for hole in holes])
    places = window.page_from_part(drawn)  # type: ignore[attr-defined]
    radius = 0.5 * holes[0].diameter_mm
    read = np.array([hole_centre_mm(sheet, place, radius) for place in places])
    return read - window.shift_mm, drawn  # type: ignore[attr-defined]


@pytest.mark.parametrize("part", [0, 1])
def test_any_two_holes_are_as_far_apart_as_in_the_model(part: int) -> None:
    assert not page_of(part)[1].turned  # type: ignore[attr-defined]
    read, drawn = holes_read(part)
    assert len(read) >= 7
    far = np.linalg.norm(read[:, None] - read[None], axis=2)
    true = np.linalg.norm(drawn[:, None] - drawn[None], axis=2)
    assert np.abs(far - true).max() < 0.05


def test_printed_holes_of_both_plates_meet_in_space() -> None:
    """Mapped back to the form, the plate's lie on the model's and the lap's one inset over them."""
    upper, lower = printed().flats
    lap, plate = printed().rows
    blanks = [blank_edges(flat) for flat in (upper, lower)]

    def on_flat(part: int) -> Floats:
        blank = blanks[part]
        corner = (blank.outline.points_mm @ blank.upright.T).min(axis=0)
        return (holes_read(part)[0] + corner) @ blank.upright

    below = on_form(lower, on_flat(1))
    assert np.linalg.norm(below - plate.formed_mm, axis=1).max() < 0.2
    # A lap's hole goes through where its foot on the seam lies, one edge distance further on.
    edge, formed = upper.outline[lap.edge].points_mm, formed_edges(upper)[lap.edge]
    holes = on_flat(0)
    line = shapely.LineString(edge)
    inset = 2.5 * 3.2
    away = shapely.distance(line, shapely.points(holes))
    assert np.abs(away - inset).max() < 0.2
    arc = np.r_[0.0, np.linalg.norm(np.diff(edge, axis=0), axis=1).cumsum()]
    at = shapely.line_locate_point(line, shapely.points(holes))
    feet = np.column_stack([np.interp(at, arc, formed[:, k]) for k in range(3)])
    gaps = np.linalg.norm(feet - below, axis=1)
    assert np.abs(gaps - inset).max() < 0.2
    # Straight across the seam: no hole is shifted along it.
    along = np.gradient(formed, axis=0)
    ahead = np.column_stack([np.interp(at, arc, along[:, k]) for k in range(3)])
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    assert np.abs(np.sum((below - feet) * ahead, axis=1)).max() < 0.2


def test_printed_match_marks_pair_on_the_form() -> None:
    numbers = mark_numbers(printed().flats)
    found: list[dict[str, Floats]] = []
    for part, flat in enumerate(printed().flats):
        index, window = page_of(part)
        sheet = pdfium.PdfDocument(printed().pdf)[index]
        blank, formed = blank_edges(flat), formed_edges(flat)
        marks = match_marks(
            blank.edges, formed, blank.widths_mm, patch=flat.design.name, numbers=numbers
        )
        own = {}
        for mark in marks:
            if mark.line != "waist":
                continue
            k = next(i for i, edge in enumerate(blank.edges) if edge.line == "waist")
            inward = mark.inward @ blank.upright.T
            across = np.array([inward[1], -inward[0]])
            at = blank.on_paper(mark.at_mm[None])[0]
            spot = window.page_from_part((at + 3.0 * inward)[None])[0]  # type: ignore[attr-defined]
            dark, low = crop(sheet, spot, 3.0)
            reach = np.arange(-2.0, 2.0, 0.005)
            line = (spot - low + reach[:, None] * across) * PX_PER_MM - 0.5
            x, y = np.rint(line).astype(int).T
            read = darkest_place(255.0 - dark[y, x], len(reach) / 2, 150.0)
            off = reach[0] + read * 0.005
            assert abs(off) < 0.05
            # On the flat, then by its share of the edge onto the form.
            edge = blank.edges[k].points_mm
            place = mark.at_mm + off * (across @ blank.upright)
            arc = np.r_[0.0, np.linalg.norm(np.diff(edge, axis=0), axis=1).cumsum()]
            s = shapely.line_locate_point(shapely.LineString(edge), shapely.Point(place))
            own[mark.label] = np.array([np.interp(s, arc, formed[k][:, j]) for j in range(3)])
        found.append(own)
    assert set(found[0]) == set(found[1])
    assert len(found[0]) >= 2
    for label, place in found[0].items():
        assert np.linalg.norm(place - found[1][label]) < 0.3


def test_holes_have_a_layer_of_their_own() -> None:
    for template in printed().templates:
        assert {hole.layer for hole in template.drawing.holes} == {Layer.DRILL}
