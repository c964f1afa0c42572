"""One face triangulated round what is drawn in it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay

from fitkit.geometry.face_split import split_face

CORNERS = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]
SHAPE = np.array([[0.0, 0.0], [10.0, 0.0], [3.0, 8.0]])


def plane(bary: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [
        tuple(SHAPE[0] + u * (SHAPE[1] - SHAPE[0]) + v * (SHAPE[2] - SHAPE[0])) for u, v in bary
    ]


def areas(bary: list[tuple[float, float]], triangles: list[tuple[int, int, int]]) -> np.ndarray:
    a, b, c = np.moveaxis(np.array(bary)[np.array(triangles)], 1, 0)
    return (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]


def edges_of(triangles: list[tuple[int, int, int]]) -> set[frozenset[int]]:
    return {frozenset(p) for a, b, c in triangles for p in ((a, b), (b, c), (c, a))}


def test_untouched_face_stays() -> None:
    assert split_face(CORNERS, plane(CORNERS), [[], [], []], [], []) == ([(0, 1, 2)], {})


@pytest.mark.parametrize("seed", range(20))
def test_points_and_segments_become_vertices_and_edges(seed: int) -> None:
    """All points used, all segments edges, all triangles turned alike, areas add up to the face."""
    generator = np.random.default_rng(seed)
    bary = list(CORNERS)
    sides = []
    for k in range(3):
        start, end = np.array(CORNERS[k]), np.array(CORNERS[(k + 1) % 3])
        at = np.sort(generator.uniform(0.05, 0.95, generator.integers(0, 4)))
        sides.append(list(range(len(bary), len(bary) + len(at))))
        bary += [tuple(start + t * (end - start)) for t in at]
    inner = list(range(len(bary), len(bary) + 8))
    bary += [tuple(share[1:]) for share in generator.dirichlet([1.5, 1.5, 1.5], 8)]
    # Segments between points in order of a sweep do not cross.
    order = sorted(inner, key=lambda i: bary[i])
    segments = [(order[i], order[i + 1]) for i in range(7)]
    triangles, detours = split_face(bary, plane(bary), sides, inner, segments)
    assert detours == {}
    assert set(np.ravel(triangles)) == set(range(len(bary)))
    assert {frozenset(s) for s in segments} <= edges_of(triangles)
    assert (areas(bary, triangles) > 0).all()
    assert areas(bary, triangles).sum() == pytest.approx(1.0, abs=1e-12)


def test_a_line_through_a_sliver_is_drawn_on() -> None:
    """Four points in line to the last digit, in the order 3-7-8-5; met on a scanned body.

    The third of them lies in line with every edge of the sliver that the second one left.
    """
    bary = [
        *CORNERS,
        (0.2307285794444154, 0.0),
        (0.4997925446533734, 0.5002074553466266),
        (0.22799945614245032, 0.7720005438575497),
        (0.0, 0.5011132216747474),
        (0.2290472818905355, 0.475596916075812),
        (0.22895854525989284, 0.5006982836308519),
    ]
    segments = [(4, 8), (6, 8), (7, 3), (7, 8), (5, 8)]
    triangles, detours = split_face(bary, plane(bary), [[3], [4, 5], [6]], [7, 8], segments)
    assert detours == {}
    assert {frozenset(s) for s in segments} <= edges_of(triangles)
    assert areas(bary, triangles).min() > -1e-14
    assert areas(bary, triangles).sum() == pytest.approx(1.0, abs=1e-12)


def test_without_segments_it_is_the_delaunay_triangulation() -> None:
    """Compared with Qhull's on the same points in the true shape of the face."""
    generator = np.random.default_rng(5)
    bary = [*CORNERS, *(tuple(share[1:]) for share in generator.dirichlet([2, 2, 2], 15))]
    triangles, _ = split_face(bary, plane(bary), [[], [], []], list(range(3, 18)), [])
    expected = Delaunay(np.array(plane(bary))).simplices
    assert {frozenset(t) for t in triangles} == {frozenset(t.tolist()) for t in expected}


def test_segment_through_a_point_goes_by_way_of_it() -> None:
    bary = [*CORNERS, (0.25, 0.0), (0.25, 0.75), (0.25, 0.25)]
    triangles, detours = split_face(bary, plane(bary), [[3], [4], []], [5], [(3, 4)])
    assert detours == {(3, 4): 5}
    assert {frozenset((3, 5)), frozenset((5, 4))} <= edges_of(triangles)
    assert areas(bary, triangles).sum() == pytest.approx(1.0, abs=1e-12)
