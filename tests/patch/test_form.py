from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.errors import DesignError
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.patch.form import grow_form
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
