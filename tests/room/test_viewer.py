"""What a browser sends is taken for a ray only when it is one."""

from __future__ import annotations

from typing import Any

import pytest

from fitkit.room.viewer import _ray

GOOD = {"origin": [0, -3000, 1200], "direction": [0, 1, 0], "mmPerPxAtOne": 0.001, "touch": False}


def test_a_finger_means_a_wider_place_than_a_mouse() -> None:
    mouse, finger = _ray(GOOD), _ray({**GOOD, "touch": True})
    assert mouse is not None
    assert finger is not None
    assert mouse.origin_mm == (0.0, -3000.0, 1200.0)
    assert finger.reach > 2 * mouse.reach > 0


@pytest.mark.parametrize(
    "told",
    [
        {},
        {**GOOD, "origin": [0, 1]},
        {**GOOD, "origin": "abc"},
        {**GOOD, "origin": None},
        {**GOOD, "direction": [0, 0, 0]},
        {**GOOD, "direction": [0, float("nan"), 1]},
        {**GOOD, "mmPerPxAtOne": float("inf")},
        {**GOOD, "mmPerPxAtOne": "wide"},
    ],
)
def test_anything_else_is_none(told: dict[str, Any]) -> None:
    assert _ray(told) is None
