"""Help in a maker's words: an argument is told by its name, not by its type in Python."""

from __future__ import annotations

from typing import Any

__all__ = ["plain_help"]


def plain_help(command: Any) -> Any:
    """Take the types off the arguments of a command and all below it; return the command."""
    for parameter in command.params:
        if parameter.param_type_name == "argument":
            parameter.display_type_rich = _nothing
    for inner in getattr(command, "commands", {}).values():
        plain_help(inner)
    return command


def _nothing(*_: Any, **__: Any) -> str:
    return ""
