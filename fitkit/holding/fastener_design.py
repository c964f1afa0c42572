"""What the maker says of a fastener, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from fitkit.patch.design import Anchor

__all__ = ["FastenerDesign", "FastenerKind", "Load"]

FastenerKind: TypeAlias = Literal["screw and post", "turn button", "hook and loop", "magnet"]
Load: TypeAlias = Literal["light", "medium", "heavy"]


@dataclass(frozen=True, slots=True)
class FastenerDesign:
    """What the maker says of a fastener.

    Attributes
    ----------
    name
        As written at its places.
    on
        The outer patch and the one under it.
    at
        Where.
    kind
        None leaves it to :func:`advised`.
    load
        ``light`` a trim or a cover; ``medium`` a plate that hangs by several; ``heavy`` one that
        carries others or is pulled at.
    often
        Whether it is opened each time the costume is worn.
    paired
        Whether there is a mirrored one on the wearer's other side.
    """

    name: str
    on: tuple[str, str]
    at: Anchor
    kind: FastenerKind | None = None
    load: Load = "medium"
    often: bool = False
    paired: bool = False
