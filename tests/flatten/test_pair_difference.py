from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.pair_difference import pair_difference
from fitkit.geometry.mesh import TriangleMesh
from tests.truth import solids

PLATE = np.array([[0.0, 0], [160, 0], [160, 60], [70, 90], [0, 60]])


def blank(corners: np.ndarray) -> FlatPatch:
    """Return a level plate of five corners, laid flat."""
    middle = corners.mean(axis=0)
    points = np.column_stack([np.vstack([corners, middle]), np.zeros(6)])
    faces = np.array([[5, k, (k + 1) % 5] for k in range(5)])
    return flatten_patch(solids.patch_of(TriangleMesh(points, faces)))


def mirrored(corners: np.ndarray, turn: float = 0.0) -> np.ndarray:
    cos, sin = np.cos(turn), np.sin(turn)
    return (corners * [-1, 1])[::-1] @ np.array([[cos, sin], [-sin, cos]]) + [30, -12]


@pytest.mark.parametrize("turn", [0.0, 0.7, 3.0])
def test_a_mirrored_plate_is_found_the_same_however_it_lies(turn: float) -> None:
    found = pair_difference(blank(PLATE), blank(mirrored(PLATE, turn)))
    assert found.furthest_mm < 0.05
    assert found.area_share == pytest.approx(0, abs=1e-6)
    assert found.length_share == pytest.approx(0, abs=1e-6)
    assert np.ptp(found.other_mm, axis=0) == pytest.approx(np.ptp(found.drawn_mm, axis=0), abs=0.1)


def test_a_longer_point_is_told_with_its_place() -> None:
    """The top corner 8 mm higher: most of it stays 8 mm apart, as the rest holds the outline."""
    longer = PLATE + np.array([[0, 0], [0, 0], [0, 0], [0, 8], [0, 0]])
    found = pair_difference(blank(PLATE), blank(mirrored(longer, 0.4)))
    assert 5.0 < found.furthest_mm < 8.0
    top = found.other_mm[np.linalg.norm(found.other_mm - found.worst_mm, axis=1).argmin()]
    assert np.linalg.norm(top - found.worst_mm) < 3.0
    area = [_area(one) for one in (PLATE, longer)]
    assert found.area_share == pytest.approx(area[1] / area[0] - 1, abs=1e-6)


def _area(corners: np.ndarray) -> float:
    x, y = corners.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
