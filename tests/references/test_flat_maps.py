"""Our flat maps beside libigl's on the same meshes: never a worse worst strain."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.minimax import log_ratio
from fitkit.geometry.mesh import TriangleMesh
from tests.references.flat_maps import arap_map, lscm_map, slim_map
from tests.truth import solids


def bent_plate() -> TriangleMesh:
    """Return a rectangle over a bump beside a hollow."""
    flat = solids.plane_rectangle(200.0, 140.0, 6.0)
    x, _, z = flat.vertices.T
    bump = 18.0 * np.exp(-((x - 70) ** 2 + (z - 60) ** 2) / 1800.0)
    hollow = 9.0 * np.exp(-((x - 150) ** 2 + (z - 90) ** 2) / 900.0)
    return flat.with_vertices(np.column_stack([x, hollow - bump, z]))


PLATES = {
    "cap": solids.spherical_cap(100.0, 0.9, 5.0),
    "saddle": solids.saddle(70.0, 0.008, 5.0),
    "bump and hollow": bent_plate(),
}


@pytest.mark.parametrize("name", PLATES)
def test_worst_strain_is_less_than_lscm_arap_and_slim_leave(name: str) -> None:
    flat = flatten_patch(solids.patch_of(PLATES[name], material="aluminium"))
    ours = log_ratio(flat.form, flat.flat_mm)
    # A map with a flipped triangle counts as infinitely bad.
    theirs = {
        m.__name__: log_ratio(flat.form, m(flat.form)) for m in (lscm_map, arap_map, slim_map)
    }
    assert ours < 0.95 * min(theirs.values()), theirs
