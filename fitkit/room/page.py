"""What a stop is handed to fill: the room's session, and parts that follow it as it changes."""

from __future__ import annotations

from collections.abc import Callable, Hashable

from nicegui import ui

from fitkit.errors import FitkitError
from fitkit.room.session import RoomSession

__all__ = ["RoomPage"]

_SECONDS_BETWEEN_LOOKS = 0.4


class RoomPage:
    """One page in one browser tab.

    Parameters
    ----------
    session
        What all pages show.
    """

    def __init__(self, session: RoomSession) -> None:
        self.session = session
        self._parts: list[tuple[Callable[[], Hashable], list[Hashable], Callable[[], None]]] = []
        ui.timer(_SECONDS_BETWEEN_LOOKS, self._look)

    def live(
        self, build: Callable[[], None], *, of: Callable[[], Hashable] | None = None
    ) -> ui.element:
        """Build a part of the page here and now, and anew whenever something changes.

        Parameters
        ----------
        build
            Makes the elements of the part; called inside an emptied box.
        of
            Returns what the part depends on; the session's revision if not given.
        """
        depends = of or (lambda: self.session.revision)
        box = ui.element("div").classes("fk-live")

        def anew() -> None:
            box.clear()
            with box:
                build()

        self._parts.append((depends, [depends()], anew))
        anew()
        return box

    def follow(self, act: Callable[[], None], *, of: Callable[[], Hashable]) -> None:
        """Call ``act`` whenever what ``of`` returns has changed, without building anything anew."""
        self._parts.append((of, [of()], act))

    def tell(self, error: FitkitError) -> None:
        """Show what went wrong and what to do."""
        ui.notify(f"{error.cause} {error.remedy}", type="negative", multi_line=True, timeout=12000)

    def _look(self) -> None:
        for depends, last, anew in self._parts:
            now = depends()
            if now != last[0]:
                last[0] = now
                anew()
