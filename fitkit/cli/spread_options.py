"""Options that several commands share, told once as a dataclass."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import wraps
from inspect import Parameter, signature
from typing import Any, get_type_hints

__all__ = ["spread"]


def spread(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command that has one option for each field of a dataclass among its parameters.

    The fields, with their defaults and their ``Annotated`` options, stand in that parameter's
    place; what the user said comes to the command as the dataclass.
    """
    hints = get_type_hints(command, include_extras=True)
    bundles: dict[str, Any] = {name: hint for name, hint in hints.items() if is_dataclass(hint)}
    shown: list[Parameter] = []
    for parameter in signature(command).parameters.values():
        bundle = bundles.get(parameter.name)
        if bundle is None:
            shown.append(parameter.replace(annotation=hints[parameter.name]))
            continue
        told = get_type_hints(bundle, include_extras=True)
        shown += [
            Parameter(
                field.name,
                Parameter.POSITIONAL_OR_KEYWORD,
                default=field.default,
                annotation=told[field.name],
            )
            for field in fields(bundle)
        ]

    @wraps(command)
    def spread_out(**said: Any) -> None:
        for name, bundle in bundles.items():
            said[name] = bundle(**{field.name: said.pop(field.name) for field in fields(bundle)})
        command(**said)

    spread_out.__signature__ = signature(command).replace(parameters=shown)  # type: ignore[attr-defined]
    spread_out.__annotations__ = {one.name: one.annotation for one in shown}
    return spread_out
