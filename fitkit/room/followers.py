"""Those who want to be told when there is something else to see, as long as they are there."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nicegui.element import Element

__all__ = ["Followers"]


class Followers:
    """What to call when something changed, each until the element it was added for is gone."""

    def __init__(self) -> None:
        self._heard: list[tuple[Callable[[], None], Element]] = []

    def add(self, heard: Callable[[], None], *, within: Element) -> None:
        """Call ``heard`` at each change until ``within`` is gone."""
        self._heard.append((heard, within))

    def tell(self) -> None:
        """Call all that are still there; in the thread of the room's loop."""
        self._heard = [row for row in self._heard if not row[1].is_deleted]
        for heard, _ in self._heard:
            heard()
