from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.stand_up import Standing, find_standing, stand_up, standing_through_points
from fitkit.errors import InputError
from fitkit.findings import Severity
from fitkit.geometry.mesh import TriangleMesh
from tests.body.stand_ins import BUILDS, bust, figure
from tests.truth.mannequin import mannequin

WHOLE = figure(BUILDS[0])
TURNS = Rotation.random(5, random_state=7).as_matrix()


def degrees_between(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip(a @ b / np.linalg.norm(a), -1, 1))))


def turned(mesh: TriangleMesh, rotation: np.ndarray) -> TriangleMesh:
    return mesh.with_vertices(mesh.vertices @ rotation.T + np.array([300.0, -200, 4000]))


@pytest.mark.parametrize("turn", range(len(TURNS)))
def test_a_whole_body_is_stood_up_from_any_way_it_lies(turn: int) -> None:
    """A degree tips the head 30 mm; the flat soles tell the floor far better."""
    rotation = TURNS[turn]
    standing = find_standing(turned(WHOLE, rotation))
    assert degrees_between(standing.up, rotation @ [0, 0, 1]) < 1.0
    assert degrees_between(standing.front, rotation @ [0, -1, 0]) < 2.0
    assert standing.findings[0].severity is Severity.NOTE


@pytest.mark.parametrize("turn", range(len(TURNS)))
def test_a_half_body_is_stood_up_on_its_cut_end_its_front_by_the_hollow_of_its_back(
    turn: int,
) -> None:
    rotation = TURNS[turn]
    standing = find_standing(turned(mannequin(), rotation))
    assert degrees_between(standing.up, rotation @ [0, 0, 1]) < 2.0
    assert degrees_between(standing.front, rotation @ [0, -1, 0]) < 2.0
    assert standing.findings[0].severity is Severity.NOTE


def test_a_bust_stands_with_its_neck_up_and_its_front_is_a_guess() -> None:
    """Its back is as straight as its front; only the neck's lean speaks."""
    standing = find_standing(turned(bust(), TURNS[0]))
    assert degrees_between(standing.up, TURNS[0] @ [0, 0, 1]) < 1.0
    assert degrees_between(standing.front, TURNS[0] @ [0, -1, 0]) < 2.0
    assert standing.findings[0].severity is Severity.WARNING
    assert "--front" in standing.findings[0].remedy


def test_a_mesh_stood_up_is_on_the_floor_over_the_origin_and_makes_the_same_body() -> None:
    mesh = turned(WHOLE, TURNS[1])
    upright = stand_up(mesh, find_standing(mesh))
    low, high = upright.bounds_mm()
    assert low[2] == pytest.approx(0, abs=1e-9)
    assert (low + high)[:2] == pytest.approx([0, 0], abs=1e-6)
    body, known = body_of_mesh(upright), body_of_mesh(WHOLE)
    assert body.axes.keys() == known.axes.keys()
    waist = body.landmark("front waist").at_mm[2]
    floor = WHOLE.vertices[:, 2].min()
    assert waist == pytest.approx(known.landmark("front waist").at_mm[2] - floor, abs=6)


def test_given_directions_and_three_points_stand_it_up_exactly() -> None:
    mesh = turned(WHOLE, TURNS[2])
    up, front = TURNS[2] @ [0, 0, 1], TURNS[2] @ [0, -1, 0]
    here = np.array([300.0, -200, 4000])
    by_points = standing_through_points(here, here + 900 * up, here + 400 * up + 250 * front)
    for standing in (Standing(3 * up, front + 0.4 * up), by_points):
        upright = stand_up(mesh, standing)
        off = upright.vertices - WHOLE.vertices
        assert np.ptp(off, axis=0).max() < 1e-9, "only shifted"


def test_up_and_front_along_one_line_are_refused() -> None:
    for up, front in (([0, 0, 1], [0, 0, -2]), ([0, 0, 0], [0, 1, 0])):
        with pytest.raises(InputError) as caught:
            stand_up(WHOLE, Standing(np.array(up), np.array(front)))
        assert caught.value.remedy
