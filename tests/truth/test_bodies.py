from __future__ import annotations

import numpy as np
import pytest

from tests.truth.bodies import BODIES, body, body_mesh
from tests.truth.mannequin import taut_girth_mm

# ANSUR II (Gordon et al. 2014, NATICK/TR-15/007), computed from the public individual data:
# from the women's 5th to the men's 95th percentile, mm.
ANSUR_II_MM = {
    "neck": (302.0, 443.0),
    "chest": (824.0, 1207.0),
    "waist": (710.0, 1131.0),
    "hip": (899.0, 1156.0),
}
# The display mannequin's own narrowest and widest, by which a slight one may be narrower.
_SLIGHTER = 0.92


@pytest.mark.parametrize("name", BODIES)
def test_a_body_is_closed_mirrored_and_of_a_person_s_size(name: str) -> None:
    told, mesh = body(name), body_mesh(name, 14.0)
    edges = np.sort(np.vstack([mesh.faces[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    _, uses = np.unique(edges, axis=0, return_counts=True)
    assert (uses == 2).all()
    assert len(mesh.vertices) - len(uses) + len(mesh.faces) == 2
    assert mesh.volume_mm3() > 25e6
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    assert low[0] == pytest.approx(-high[0], abs=1e-9)
    if told.bottom_mm is None:
        assert 0.0 < low[2] < 10.0
        assert high[2] == pytest.approx(1660.0, abs=3.0)
    else:
        assert low[2] < told.bottom_mm < told.top_mm < high[2]
    for girth in told.girths:
        length = taut_girth_mm(mesh, girth.through_mm, girth.across)
        least, most = ANSUR_II_MM.get(girth.name, (200.0, 600.0))
        assert _SLIGHTER * least < length < most
        assert girth.large == (length > 440.0)


def test_builds_differ_as_their_names_say() -> None:
    """The chest at one height, mm: a size and more apart."""
    slight, display, broad = (
        taut_girth_mm(body_mesh(name, 14.0), np.array([0.0, 0.0, 1220.0]), np.array([0, 0, 1.0]))
        for name in ("slight torso", "display torso", "broad torso")
    )
    assert slight + 60.0 < display < broad - 60.0
