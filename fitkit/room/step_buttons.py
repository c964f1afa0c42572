"""Buttons for a step back and a step forward through what was changed in the job."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from fitkit.errors import FitkitError
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button
from fitkit.workflow.step_edit import edits_to_step

__all__ = ["step_buttons"]


def step_buttons(
    page: RoomPage,
    step: Callable[[bool], Awaitable[None]],
    *,
    first: Callable[[], str | None] = lambda: None,
) -> None:
    """Put them on the page; they stay in their place, to be pressed again.

    Parameters
    ----------
    step
        Called with whether it goes back.
    first
        Returns what is taken back before any change of the job, where there is such a thing.
    """
    with box("fk-row") as row:
        back = button("Undo", lambda: step(True), small=True)
        forward = button("Redo", lambda: step(False), small=True)

    def follow() -> None:
        try:
            edits = edits_to_step(page.session.job())
        except FitkitError:
            return
        for made, title, what in (
            (back, "Undo", first() or edits.to_undo),
            (forward, "Redo", edits.to_redo),
        ):
            made.set_enabled(what is not None)
            made.props["aria-label"] = f"{title}: {what}" if what else title
            made.update()

    page.follow(follow, of=lambda: (page.session.revision, first()), within=row)
    follow()
