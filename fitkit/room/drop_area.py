"""The place on a page where files are dropped or chosen, and their way to the server."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui.element import Element

__all__ = ["DropArea"]


class DropArea(Element, component="drop_area.js"):
    """A place to drop files.

    Parameters
    ----------
    address
        Where each is sent, as the body of a request of its own.
    accept
        Kinds that the browser offers; the server looks for itself.
    files_words, folder_words
        What the buttons say; without ``folder_words`` no folder can be chosen.
    idle
        What stands beside them while nothing is sent.
    sent
        Called with how many were taken, and words for each that was refused.
    """

    def __init__(
        self,
        address: str,
        *,
        accept: str,
        files_words: str,
        folder_words: str = "",
        idle: str,
        sent: Callable[[int, list[str]], Any],
    ) -> None:
        super().__init__()
        self._props |= {
            "address": address,
            "accept": accept,
            "files-words": files_words,
            "folder-words": folder_words,
            "idle": idle,
        }
        self.on("sent", lambda event: sent(int(event.args["taken"]), list(event.args["refused"])))
