"""A ball that stereo sees sunk on one side: it sinks where nothing holds it, and nowhere else."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from fitkit.capture.hollow_moves import hollow_moves
from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.surface_smoothing import averaging, even_normals
from fitkit.geometry.arrays import Floats
from fitkit.geometry.topology import vertex_adjacency
from tests.truth.solids import sphere

_BALL = sphere(100.0, 8.0)
_AVERAGED = averaging(sp.csr_array(vertex_adjacency(_BALL)))
_NORMAL = even_normals(_BALL, _AVERAGED)
_SIDE = _BALL.vertices[:, 0] / 100.0


def _cloud(depth_mm: float, count: int = 12_000) -> PointCloud:
    """Return points all over a ball that is smaller by so much."""
    ways = np.random.default_rng(3).normal(size=(count, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    return PointCloud((100.0 - depth_mm) * ways, ways)


def _moves(cloud: PointCloud, certainty: Floats) -> tuple[Floats, Floats]:
    return hollow_moves(_BALL, _NORMAL, cloud, certainty, _AVERAGED, scale=1.0)


def test_what_nothing_holds_sinks_to_the_stereo_but_for_what_that_is_too_deep() -> None:
    """15 mm of depth less the 3 that stereo on plain ground is too deep."""
    offset, belief = _moves(_cloud(15.0), np.where(_SIDE < 0.0, 1.0, 0.0))
    loose = _SIDE > 0.7
    np.testing.assert_allclose(offset[loose], -12.0, atol=0.8)
    assert (belief[loose] > 0.03).all()
    held = _SIDE < 0.0
    assert not offset[held].any()
    assert not belief[held].any()


def test_nothing_moves_outwards_and_what_stereo_finds_in_place_is_held_there() -> None:
    offset, belief = _moves(_cloud(-10.0), np.zeros(len(_SIDE)))
    assert not offset.any()
    assert (belief > 0.0).all()


def test_no_stereo_says_nothing_and_stereo_that_scatters_little() -> None:
    """Points 75 to 115 mm from the middle, evenly: by chance some places find five alike."""
    offset, belief = _moves(PointCloud(np.zeros((0, 3)), np.zeros((0, 3))), np.zeros(len(_SIDE)))
    assert not offset.any()
    assert not belief.any()
    sharp = _cloud(15.0, count=4000)
    reach = np.random.default_rng(5).uniform(0.75, 1.15, (len(sharp.points_mm), 1))
    scattered = PointCloud(reach * sharp.normals, sharp.normals)
    share = [(_moves(cloud, np.zeros(len(_SIDE)))[1] > 0.0).mean() for cloud in (sharp, scattered)]
    assert share[0] > 0.95
    assert share[1] < 0.3
