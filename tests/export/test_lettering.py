"""Names beside a picture never lie over one another."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fitkit.export.lettering import font_px, spread_apart


@given(st.lists(st.floats(0.0, 400.0), max_size=20))
def test_places_keep_their_pitch_order_and_bounds(wanted: list[float]) -> None:
    places = spread_apart(wanted, pitch=20.0, low=0.0, high=400.0)
    assert all(-1e-6 <= place <= 400.0 + 1e-6 for place in places)
    assert (np.diff(sorted(places)) >= 20.0 - 1e-6).all()
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    assert sorted(range(len(places)), key=lambda i: (places[i], i)) == order


def test_names_that_have_room_stay_where_they_are() -> None:
    assert spread_apart([10.0, 100.0, 50.0], pitch=20.0, low=0.0, high=200.0) == [10, 100, 50]


def test_more_names_than_room_are_spaced_evenly() -> None:
    assert spread_apart([5.0, 5.0, 5.0], pitch=20.0, low=0.0, high=20.0) == [0.0, 10.0, 20.0]


def test_the_font_has_the_letters_of_the_wearer_s_name() -> None:
    missing = font_px(20).getmask("\ue000").getbbox()
    for letter in "ëŁΩЖ":
        assert font_px(20).getmask(letter).getbbox() != missing
