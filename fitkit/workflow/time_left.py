"""How long work will go on, from how long what is done of it took."""

from __future__ import annotations

import time
from collections.abc import Callable

__all__ = ["TimeLeft"]

# Before this nothing is told: the first steps say little of the rest.
_LEAST_SECONDS, _LEAST_DONE = 4.0, 0.04
# How much of a new estimate is believed at once, by the second.
_SETTLING_SECONDS = 8.0


class TimeLeft:
    """Told how much of the work is done, tells how long the rest will take.

    Parameters
    ----------
    clock
        Seconds that only go forward.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._started = self._told_at = clock()
        self._left: float | None = None

    def seconds(self, done: float) -> float | None:
        """Return the seconds left when ``done``, 0 to 1, is done; None while nothing can be said.

        Estimates are pulled together over some seconds, so that the number does not jump
        when stages of another pace begin.
        """
        now = self._clock()
        spent, since = now - self._started, now - self._told_at
        if done < _LEAST_DONE or spent < _LEAST_SECONDS:
            return None
        fresh = spent * (1.0 - min(done, 1.0)) / done
        if self._left is None:
            self._left = fresh
        else:
            share = since / (since + _SETTLING_SECONDS)
            self._left = max((1.0 - share) * (self._left - since) + share * fresh, 0.0)
        self._told_at = now
        return self._left

    def words(self, done: float) -> str:
        """Return the same in words for a line of progress; empty while nothing can be said.

        Examples
        --------
        >>> ticks = iter([0.0, 30.0])
        >>> TimeLeft(lambda: next(ticks)).words(0.25)
        'about 90 s left'
        """
        left = self.seconds(done)
        if left is None:
            return ""
        if left < 8.0:
            return "a few seconds left"
        if left < 95.0:
            return f"about {10 * max(round(left / 10), 1)} s left"
        return f"about {round(left / 60)} min left"
