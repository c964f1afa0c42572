from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.errors import DesignError
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.section import plane_sections
from fitkit.patch.form import FormGrower, grow_form
from tests.geometry.test_offset import furrowed_block
from tests.truth import solids

BALL = solids.sphere(90, 8)
BODY = Body(BALL, np.zeros(len(BALL.vertices)))


def test_the_form_lies_at_the_clearance_all_round() -> None:
    form = grow_form(BODY, clearance_mm=12, cell_mm=6)
    assert form.clearance_mm == 12
    assert form.body is BODY
    assert nearest_on_mesh(BALL, form.mesh.vertices)[2] == pytest.approx(12, abs=0.02)


def test_without_clearance_the_form_is_the_body_itself() -> None:
    assert grow_form(BODY, clearance_mm=0).mesh is BALL


@pytest.mark.parametrize("clearance", [-1.0, float("nan"), 151.0])
def test_a_clearance_that_makes_no_sense_is_refused(clearance: float) -> None:
    with pytest.raises(DesignError, match="clearance") as caught:
        grow_form(BODY, clearance_mm=clearance)
    assert "0 to 150 mm" in caught.value.remedy


def test_a_thick_sheet_has_its_middle_half_a_thickness_further_out() -> None:
    """A round bent of sheet t thick needs pi t more than the girth inside it: pi (D + t)."""
    plain = grow_form(BODY, clearance_mm=10, cell_mm=6)
    thick = grow_form(BODY, clearance_mm=10, thickness_mm=4, cell_mm=6)
    assert nearest_on_mesh(BALL, thick.mesh.vertices)[2] == pytest.approx(12, abs=0.02)
    girths = [
        plane_sections(form.mesh, [0, 0, 0.5], [0, 0, 1])[0].length_mm() for form in (plain, thick)
    ]
    assert girths[1] - girths[0] == pytest.approx(np.pi * 4, abs=0.1)


def test_one_grower_gives_each_form_as_if_alone() -> None:
    grower = FormGrower(BODY, furthest_mm=30, cell_mm=8)
    for clearance, thickness in ((6, 1), (12, 3)):
        alone = grow_form(BODY, clearance_mm=clearance, thickness_mm=thickness, cell_mm=8)
        shared = grower.grow(clearance, thickness_mm=thickness)
        assert np.array_equal(alone.mesh.vertices, shared.mesh.vertices)


def test_where_the_body_is_raised_the_form_stands_off_further() -> None:
    raised = 8.0 * (BALL.vertices[:, 2] > 0)
    form = grow_form(BODY, clearance_mm=5, raised_mm=raised, cell_mm=6)
    radius = np.linalg.norm(form.mesh.vertices, axis=1)
    height = form.mesh.vertices[:, 2]
    assert radius[height > 20] == pytest.approx(103, abs=0.2)
    assert radius[height < -30] == pytest.approx(95, abs=0.2)


def test_a_furrow_of_the_body_is_spanned() -> None:
    """A ball of 60 over rims 20 apart hangs down to sqrt(66^2 - 20^2) - 60 above the top."""
    block = furrowed_block(20.0, 22.0)
    body = Body(block, np.zeros(len(block.vertices)))
    form = grow_form(body, clearance_mm=5, thickness_mm=2, bridge_mm=60, cell_mm=4)
    assert form.bridge_mm == 60
    middle = np.linalg.norm(form.mesh.vertices[:, :2], axis=1) < 3
    top = form.mesh.vertices[middle & (form.mesh.vertices[:, 2] > -40), 2]
    assert top.min() == pytest.approx(np.sqrt(66**2 - 20**2) - 60, abs=0.1)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"thickness_mm": -1}, "thick"),
        ({"bridge_mm": 501}, "radius"),
        ({"bridge_mm": -1}, "radius"),
    ],
)
def test_a_sheet_or_radius_that_makes_no_sense_is_refused(
    settings: dict[str, float], words: str
) -> None:
    with pytest.raises(DesignError, match=words):
        grow_form(BODY, clearance_mm=5, **settings)
