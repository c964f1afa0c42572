"""What a turned edge asks of its strip, on plates where it is known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.patch.design import EdgeTreatment
from fitkit.shop.turned_edge import TurnedEdge, order_of_turning, turned_edges
from fitkit.template.blank_edges import blank_edges
from tests.template.parts import rectangle
from tests.truth import solids


def turned(flat: FlatPatch) -> tuple[TurnedEdge, ...]:
    return turned_edges(flat, blank_edges(flat))


def flat_disc(radius_mm: float, treatment: EdgeTreatment) -> FlatPatch:
    """Return a flat round plate: a saddle of no curvature."""
    mesh = solids.saddle(radius_mm, 0.0, 6.0)
    return flatten_patch(
        solids.patch_of(
            mesh, lines=("rim",), edges={"rim": treatment}, material="aluminium 1100-O",
            thickness_mm=1.0,
        )
    )  # fmt: skip


def test_hem_round_a_disc_must_shrink_by_its_two_radii() -> None:
    """A rim at R + w on the blank comes to lie at R - w: (R - w) / (R + w) (computed)."""
    (edge,) = turned(flat_disc(80.0, EdgeTreatment("hem", 8.0)))
    assert edge.shrink == pytest.approx(1.0 - 72.0 / 88.0, rel=0.02)
    assert edge.stretch == pytest.approx(0.0, abs=1e-3)
    assert not edge.on_brake


def test_wire_round_a_disc_must_shrink_to_the_edge_itself() -> None:
    (edge,) = turned(flat_disc(80.0, EdgeTreatment("wire", 3.0)))
    assert edge.shrink == pytest.approx(1.0 - 80.0 / (80.0 + edge.width_mm), rel=0.02)
    assert edge.inside_radius_mm == 1.5


def test_right_angled_flange_round_a_disc() -> None:
    """The rim stands square above the edge: R / (R + w)."""
    (edge,) = turned(flat_disc(80.0, EdgeTreatment("flange", 10.0, 1.5, math.pi / 2)))
    assert edge.shrink == pytest.approx(1.0 - 80.0 / (80.0 + edge.width_mm), rel=0.02)


def test_flange_along_the_curve_of_a_rolled_plate_must_stretch() -> None:
    """Straight on the blank, at radius R + w once rolled: w / R more (computed)."""
    mesh = solids.cylinder_panel(80.0, 1.5, 160.0, 6.0)
    flat = flatten_patch(
        solids.patch_of(
            mesh,
            lines=lambda p: "curved" if p[2] in (0.0, 160.0) else "straight",
            edges={
                "curved": EdgeTreatment("flange", 10.0, 1.5),
                "straight": EdgeTreatment("flange", 10.0, 1.5),
            },
            material="aluminium 1100-O",
            thickness_mm=1.0,
        )
    )
    for edge in turned(flat):
        if edge.line == "curved":
            assert edge.stretch == pytest.approx(edge.width_mm / 80.0, rel=0.03)
            assert not edge.on_brake
        else:
            assert edge.stretch == pytest.approx(0.0, abs=1e-3)
            assert edge.on_brake


def test_wire_comes_last_and_stretching_edges_first() -> None:
    flat = rectangle(
        edges={
            "foot": EdgeTreatment("wire", 3.0),
            "head": EdgeTreatment("flange", 8.0, 1.5),
            "inner": EdgeTreatment("hem", 6.0),
        },
        material="aluminium 1100-O",
        thickness_mm=1.0,
    )
    edges = turned(flat)
    assert [edge.treatment.kind for edge in order_of_turning(edges)] == ["flange", "hem", "wire"]
    assert all(edge.on_brake for edge in edges)
    assert np.isclose(next(e for e in edges if e.line == "foot").length_mm, 200.0)
