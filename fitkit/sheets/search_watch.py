"""How long a search may go on, who may stop it, and whom it tells of what it has found."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

__all__ = ["SearchWatch"]


@dataclass(frozen=True, slots=True)
class SearchWatch:
    """The time a search has, from when the watch was made.

    Attributes
    ----------
    seconds
        Until it should end with the best it has.
    cancelled
        Asked often; True ends the search at once, with the best it has.
    told
        Called with how much of the time is gone, 0 to 1, and words.
    """

    seconds: float
    cancelled: Callable[[], bool] | None = None
    told: Callable[[float, str], None] | None = None
    _started: float = field(default_factory=time.monotonic)

    def stopped(self) -> bool:
        """Tell whether somebody asked for the end."""
        return self.cancelled is not None and self.cancelled()

    def left(self) -> float:
        """Return the seconds left, 0 when the search is to end."""
        if self.stopped():
            return 0.0
        return max(0.0, self._started + self.seconds - time.monotonic())

    def over(self) -> bool:
        """Tell whether the search is to end."""
        return self.left() <= 0.0

    def part(self, seconds: float) -> SearchWatch:
        """Return a watch for a part of the work, over no later than this one."""
        return SearchWatch(
            min(seconds, self.left()), self.cancelled, lambda _, words: self.tell(words)
        )

    def tell(self, words: str) -> None:
        """Tell what was found and how much of the time is gone."""
        if self.told is not None:
            gone = 1.0 - self.left() / self.seconds if self.seconds > 0 else 1.0
            self.told(gone, words)
