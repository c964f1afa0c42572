"""What wires, hems and flanges add, against the handbooks, and how their corners are mitred."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.drawing.drawing import Layer
from fitkit.geometry.arrays import Floats
from fitkit.patch.design import EdgeKind, EdgeTreatment, RivetRow
from fitkit.template.edge_allowance import edge_allowance
from fitkit.template.make_templates import make_templates
from fitkit.template.outline import cut_outline
from fitkit.template.part import NamedLine
from tests.template.parts import rectangle


def test_hems_and_wires_by_the_steelworkers_manual() -> None:
    """Navy steelworker manual: hem W, double hem 2 W, wire 2.5 d for thin sheet."""
    assert edge_allowance(EdgeTreatment("hem", 6.0), 0.8).width_mm == 6.0
    double = edge_allowance(EdgeTreatment("double hem", 6.0), 0.8)
    assert (double.width_mm, double.folds_mm) == (12.0, (0.0, 6.0))
    assert edge_allowance(EdgeTreatment("wire", 3.0), 0.15).width_mm == pytest.approx(7.5)


def test_a_bead_is_the_way_round_at_the_middle_of_the_sheet() -> None:
    """Computed: three quarters of pi (3 + 1) = 9.42 mm."""
    bead = edge_allowance(EdgeTreatment("bead", 3.0), 1.0)
    assert bead.width_mm == pytest.approx(9.42, abs=0.005)


def test_a_flange_takes_its_height_less_the_bend_deduction() -> None:
    """K-factor example: t 1, R 1.5, K 0.42, a right angle: 1.9841 mm less than the two legs.

    The aluminium K of 0.41 (Machinery's Handbook, from memory) makes 1.9998.
    """
    flange = edge_allowance(EdgeTreatment("flange", 10.0, radius_mm=1.5), 1.0)
    assert flange.width_mm == pytest.approx(10.0 - 1.9998, abs=1e-3)
    allowance = np.pi / 2 * (1.5 + 0.41)
    assert flange.folds_mm == pytest.approx((allowance / 2 - 2.5,))


def test_a_lap_without_a_width_is_as_wide_as_its_rivet_wants() -> None:
    lap = edge_allowance(EdgeTreatment("lap", rivets=RivetRow("blind 3.2")), 1.0)
    assert lap.width_mm == pytest.approx(16.0)


def square(side: float = 60.0) -> list[NamedLine]:
    corners = np.array([[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]])
    return [
        NamedLine(f"edge {i}", np.linspace(corners[i], corners[(i + 1) % 4], 7)) for i in range(4)
    ]


def test_hems_round_a_square_are_mitred_so_that_they_do_not_meet_when_folded() -> None:
    width = 6.0
    outline = shapely.Polygon(cut_outline("plate", square(), [width] * 4, [True] * 4).points_mm)
    own = shapely.box(0, 0, 60, 60)
    strips = shapely.difference(outline, own)
    # Four trapezoids, each short by a triangle of w x w / 2 at both ends.
    assert strips.area == pytest.approx(4 * (60 * width - width**2), rel=1e-9)
    # Folded over the edge y = 0 and the edge x = 0 they only touch.
    lower = shapely.intersection(strips, shapely.box(-20, -20, 80, 0))
    left = shapely.intersection(strips, shapely.box(-20, -20, 0, 80))
    folded_up = shapely.transform(lower, lambda p: p * [1.0, -1.0])
    folded_in = shapely.transform(left, lambda p: p * [-1.0, 1.0])
    assert shapely.intersection(folded_up, folded_in).area == pytest.approx(0.0, abs=1e-9)


def test_a_flat_lap_still_reaches_the_common_tip() -> None:
    outline = shapely.Polygon(cut_outline("plate", square(), [6.0] * 4, [False] * 4).points_mm)
    assert outline.area == pytest.approx(72.0**2)


KINDS: tuple[EdgeKind, ...] = (
    "plain", "lap", "wire", "bead", "hem", "double hem", "flange", "trim",
)  # fmt: skip


@st.composite
def outlines(draw: st.DrawFn) -> list[NamedLine]:
    """Draw star-shaped blanks of three to seven edges."""
    count = draw(st.integers(3, 7))
    reach = [draw(st.floats(40.0, 120.0)) for _ in range(count)]
    angles = 2 * np.pi * (np.arange(count) + 0.3 * draw(st.floats(0.0, 1.0))) / count
    corners = np.array(reach)[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    return [
        NamedLine(f"edge {i}", np.linspace(corners[i], corners[(i + 1) % count], 9))
        for i in range(count)
    ]


@settings(max_examples=60, deadline=None)
@given(outlines(), st.lists(st.sampled_from(KINDS), min_size=7, max_size=7))
def test_random_blanks_with_random_edges_give_whole_outlines(
    edges: list[NamedLine], kinds: list[EdgeKind]
) -> None:
    allowances = [
        edge_allowance(EdgeTreatment(kind, 8.0, radius_mm=1.5), 1.0) for kind in kinds[: len(edges)]
    ]
    cut = cut_outline(
        "plate", edges, [a.width_mm for a in allowances], [a.turned for a in allowances]
    )
    ring = shapely.LinearRing(cut.points_mm)
    own = shapely.Polygon(np.concatenate([edge.points_mm[:-1] for edge in edges]))
    assert ring.is_simple
    assert ring.is_ccw
    assert shapely.difference(own, shapely.Polygon(ring).buffer(1e-6)).area < 1e-6


def lines_on(points: list[Floats]) -> float:
    return sum(float(np.linalg.norm(np.diff(one, axis=0), axis=1).sum()) for one in points)


def test_folds_are_drawn_and_told_on_the_template() -> None:
    flat = rectangle(200.0, 120.0, edges={"head": EdgeTreatment("double hem", 6.0)})
    (template,) = make_templates(flat, number=1, job_name="Heron Warden", wearer="Ada")
    bends = [s.points_mm for s in template.drawing.strokes if s.layer is Layer.BEND]
    assert len(bends) == 2
    assert lines_on(bends) == pytest.approx(400.0)
    heights = sorted(float(np.mean(one[:, 1])) for one in bends)
    assert heights == pytest.approx([120.0, 126.0])
    said = " ".join(words.text for words in template.drawing.words)
    assert "head: double hem 6 mm" in said
    assert "turn edges away from the skin" in said
