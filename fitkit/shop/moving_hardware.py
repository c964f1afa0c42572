"""What has to be bought for plates that swing: screws or rivets and washers of pivots and lames."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import pairwise

from fitkit.holding.bought import Bought
from fitkit.motion.pivot import pivot_sizes

__all__ = ["lame_hardware", "pivot_hardware"]

_FREE = "set so that the plates still swing: lock nut backed off, or rivet over a card shim"


def pivot_hardware(
    patch: str, screw_mm: float, *, paired: bool, metal: str = ""
) -> tuple[Bought, ...]:
    """Return screws and washers of a patch's pivot: one at each end of its line.

    ``metal`` is what the screws are of, empty where the maker told none.
    """
    count = 4 if paired else 2
    where, washer = f"pivots of {patch}", pivot_sizes(screw_mm)["washer_mm"]
    size = f"{washer:g} mm wide, for {screw_mm:g} mm"
    return (
        Bought(
            f"{metal} pivot screw or rivet".strip(),
            f"{screw_mm:g} mm",
            count,
            where,
            (patch,),
            None,
            _FREE,
        ),
        Bought("pivot washer", size, count, where, (patch,), None, "between the plates"),
    )


def lame_hardware(
    name: str, lames: Sequence[str], hole_mm: float, *, paired: Collection[str], metal: str = ""
) -> tuple[Bought, ...]:
    """Return rivets of a row of lames: where two meet, two that pivot and one that slides.

    ``metal`` is what they are of, empty where the maker told none.
    """
    count = sum(2 if upper in paired else 1 for upper, _ in pairwise(lames))
    if count == 0:
        return ()
    size, on = f"for a {hole_mm:g} mm hole", tuple(lames)
    where = f"lames of {name}"
    return (
        Bought(f"{metal} pivot rivet".strip(), size, 2 * count, where, on, None, _FREE),
        Bought(
            f"{metal} sliding rivet".strip(),
            size,
            count,
            where,
            on,
            None,
            "in the slot, or a strip of leather",
        ),
    )
