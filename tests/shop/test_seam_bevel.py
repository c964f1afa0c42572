"""How far the sheet turns where two plates meet: roofs of known pitch, and a smooth barrel."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.shop.plan_facts import plan_facts
from fitkit.shop.plan_part import plan_of
from fitkit.shop.seam_bevel import seam_bevels
from tests.template.parts import barrel_panels
from tests.truth import solids


def slope(name: str, turn_deg: float, *, left: bool, **design: object) -> FlatPatch:
    """Return one half of a roof with its ridge upright at x = 0, each half turned back."""
    width = 90.0
    flat = solids.plane_rectangle(width, 120.0, 6.0)
    x, y, z = flat.vertices.T
    x = x - x.min()
    if left:
        x = width - x
        x = -x
    lean = math.radians(turn_deg) * (1.0 if left else -1.0)
    placed = np.column_stack([x * math.cos(lean), y + x * math.sin(-lean), z])

    def line(point: Floats) -> str:
        return "ridge" if abs(point[0]) < 1e-6 else "rim"

    mesh = TriangleMesh(placed, flat.faces)
    return flatten_patch(solids.patch_of(mesh, name=name, lines=line, material="foam", **design))


@pytest.mark.parametrize("turn_deg", [30.0, -20.0])
def test_two_flat_plates_turn_by_twice_their_slope(turn_deg: float) -> None:
    """Closed form: planes that lean back by a from one another's middle turn by 2 a."""
    left, right = slope("left", turn_deg, left=True), slope("right", turn_deg, left=False)
    (bevel,) = seam_bevels(left, [left, right])
    assert (bevel.line, bevel.neighbour) == ("ridge", "right")
    # The outside is -y: halves that run off to +y make it a ridge.
    assert math.degrees(bevel.turn_rad) == pytest.approx(2.0 * turn_deg, abs=0.5)
    assert bevel.most_rad - bevel.least_rad < math.radians(1.0)


def test_a_smooth_form_needs_no_bevel_where_it_is_parted() -> None:
    """Panels of a barrel of radius 120 mm: tangents agree across every line."""
    panels = list(barrel_panels().values())
    bevels = [bevel for panel in panels for bevel in seam_bevels(panel, panels)]
    assert len(bevels) >= 8
    assert max(abs(math.degrees(bevel.turn_rad)) for bevel in bevels) < 3.0


def test_a_foam_plate_is_told_its_bevels_and_its_twin_by_its_own_names() -> None:
    left = slope("left wing", 30.0, left=True, side=Side.LEFT, paired=True, thickness_mm=6.0)
    facts = plan_facts(left)
    facts = replace(facts, bevels=seam_bevels(left, [left]))
    cut = plan_of(facts).steps[0]
    assert "'ridge', to 'right wing': bevel 30° off the inside (60° in all)" in cut.lines
    twin = plan_of(replace(facts, twin=True)).steps[0]
    assert "'ridge', to 'left wing': bevel 30° off the inside (60° in all)" in twin.lines
    groove = slope("left wing", -20.0, left=True, side=Side.LEFT, paired=True, thickness_mm=6.0)
    told = plan_of(replace(plan_facts(groove), bevels=seam_bevels(groove, [groove]))).steps[0]
    assert "'ridge', to 'right wing': bevel 20° off the outside (40° in all)" in told.lines


def test_a_seam_that_closes_a_plate_on_itself_has_its_bevel() -> None:
    """A square tube opened along a corner: the sheet turns by a right angle there."""
    tube = solids.cylinder(50.0, 120.0, 6.0, capped=False)
    around = len(solids.border_rounds(tube)[0])
    rows = len(tube.vertices) // around
    corner = around // 8
    # From the corner on, evenly round a square: two corners fall on vertices, which is enough.
    share = np.mod(np.arange(around) - corner, around) / around * 4.0
    side, along = np.floor(share), np.mod(share, 1.0)
    corners = 40.0 * np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0], [1.0, 1.0]])
    at = side.astype(int)
    square = corners[at] + along[:, None] * (corners[at + 1] - corners[at])
    placed = np.column_stack([np.tile(square, (rows, 1)), tube.vertices[:, 2]])
    flat = flatten_patch(
        solids.patch_of(
            TriangleMesh(placed, tube.faces),
            name="cuff",
            lines=("elbow", "wrist"),
            inner={"corner": np.arange(rows) * around + corner},
            seams=("corner",),
            material="foam",
            thickness_mm=6.0,
        )
    )
    (bevel,) = seam_bevels(flat, [flat])
    assert (bevel.line, bevel.neighbour) == ("seam", "cuff")
    assert math.degrees(bevel.turn_rad) == pytest.approx(90.0, abs=0.5)
    cut = plan_of(replace(plan_facts(flat), bevels=(bevel,))).steps[0]
    assert "'seam, corner', to itself: bevel 45° off the inside (90° in all)" in cut.lines
