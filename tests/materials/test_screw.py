"""Screws by hole and stack."""

from __future__ import annotations

import pytest

from fitkit.errors import InputError
from fitkit.materials.screw import screw_for_hole


@pytest.mark.parametrize(("hole", "name"), [(3.2, "M3"), (4.2, "M3"), (4.3, "M4"), (5.5, "M5")])
def test_clearance_holes_of_the_fine_series(hole: float, name: str) -> None:
    """ISO 273 fine: M3 3.2, M4 4.3, M5 5.3 (from memory)."""
    assert screw_for_hole(hole).name == name


def test_length_takes_nut_and_thread() -> None:
    """M3: 2.0 + 2.4 (ISO 4032, from memory) + 1.5 turns of 0.5 is 5.15: 6 as sold."""
    assert screw_for_hole(3.2).length_for(2.0) == 6.0


def test_what_nothing_fits_is_refused() -> None:
    with pytest.raises(InputError, match="through a 1 mm hole"):
        screw_for_hole(1.0)
    with pytest.raises(InputError, match="No M3 screw"):
        screw_for_hole(3.2).length_for(60.0)
