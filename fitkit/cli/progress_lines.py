"""Progress on standard error, with the time left: a bar on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fitkit.workflow.time_left import TimeLeft

__all__ = ["shown_progress"]

_SECONDS_BETWEEN_LINES = 3.0


@contextmanager
def shown_progress() -> Iterator[Callable[[float, str], None]]:
    """Yield what a long function calls with how much is done and with words."""
    if sys.stderr.isatty():
        with _bar() as told:
            yield told
    else:
        yield _lines()


def _lines() -> Callable[[float, str], None]:
    last = time.monotonic() - _SECONDS_BETWEEN_LINES + 1.0
    highest, left = 0.0, TimeLeft()

    def told(fraction: float, words: str) -> None:
        nonlocal last, highest
        highest = max(highest, fraction)
        if time.monotonic() - last >= _SECONDS_BETWEEN_LINES:
            last = time.monotonic()
            line = ", ".join(filter(None, (words, left.words(highest))))
            print(f"{100 * highest:3.0f} %  {line}", file=sys.stderr, flush=True)

    return told


@contextmanager
def _bar() -> Iterator[Callable[[float, str], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    columns = (
        BarColumn(bar_width=30),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=1.0)
        highest, left = 0.0, TimeLeft()

        def told(fraction: float, words: str) -> None:
            nonlocal highest
            highest = max(highest, fraction)
            line = ", ".join(filter(None, (words, left.words(highest))))
            progress.update(task, completed=highest, description=line)

        yield told
