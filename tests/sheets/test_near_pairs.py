"""Who can come to meet: pairs kept up to date are as listed anew, and none that meets is missed."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.arrays import Floats, Ints
from fitkit.sheets.near_pairs import NearPairs, list_near, no_pairs
from fitkit.sheets.pair_depths import depths_of_all
from fitkit.sheets.strip_pieces import StripPieces
from tests.sheets.test_joint_slide import pieces_of
from tests.sheets.test_no_fit_polygon import DART, U_SHAPE

FAR = 2.0


def listed(near: NearPairs) -> set[tuple[int, int]]:
    ends = np.sort(near.ends[: near.listed[0], :2], axis=1)
    pairs = {(int(a), int(b)) for a, b in ends}
    assert len(pairs) == len(ends), "a pair is listed twice"
    return pairs


def listed_anew(pieces: StripPieces, turn: Ints, place: Floats) -> set[tuple[int, int]]:
    near = no_pairs(len(turn))
    list_near(pieces, turn, place, FAR, near)
    return listed(near)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_all_that_meet_are_listed_while_some_move(seed: int) -> None:
    pieces = pieces_of([U_SHAPE, DART] * 6, 1.0)
    rng = np.random.default_rng(seed)
    turn = np.arange(12)
    place = rng.uniform(0.0, 160.0, (12, 2))
    near = no_pairs(12)
    met = 0
    for _ in range(60):
        list_near(pieces, turn, place, FAR, near)
        # They are as they lay when listed: none has gone further than it may.
        assert (np.abs(place - near.place) <= FAR).all()
        pairs = listed(near)
        assert pairs == listed_anew(pieces, turn, near.place)
        # What has not gone too far is not listed anew, and meets none but those listed.
        strayed = near.place + rng.uniform(-FAR, FAR, place.shape)
        before = near.place.copy()
        list_near(pieces, turn, strayed, FAR, near)
        assert (near.place == before).all()
        meet = np.argwhere(np.triu(depths_of_all(pieces, turn, strayed)) > 0.0)
        met += len(meet)
        assert {(int(a), int(b)) for a, b in meet} <= pairs
        moved = rng.choice(12, 3, replace=False)
        place = place.copy()
        place[moved] = rng.uniform(0.0, 160.0, (3, 2))
    assert met > 60


def test_a_piece_in_another_turn_is_listed_anew() -> None:
    """A bar of 40 by 4 reaches another 30 off when it lies along, not when it stands."""
    bar = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 4.0], [0.0, 4.0]])
    block = np.array([[0.0, 0.0], [8.0, 0.0], [0.0, 8.0]])
    stood = bar[:, ::-1] * [-1.0, 1.0]
    pieces = pieces_of([bar, stood, block], 0.0)
    place = np.array([[0.0, 0.0], [30.0, 0.0]])
    near = no_pairs(2)
    list_near(pieces, np.array([0, 2]), place, FAR, near)
    assert listed(near) == {(0, 1)}
    list_near(pieces, np.array([1, 2]), place, FAR, near)
    assert listed(near) == set()
