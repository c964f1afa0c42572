"""Values as JSON bytes; numbers read back to the last bit."""

from __future__ import annotations

import json
from typing import Any

__all__ = ["json_bytes"]


def json_bytes(values: Any, *, indent: int | None = None) -> bytes:
    """Return values as UTF-8 JSON with a line end; numpy's single numbers are taken as numbers."""
    text = json.dumps(values, indent=indent, ensure_ascii=False, default=_plain)
    return f"{text}\n".encode()


def _plain(value: Any) -> Any:
    # Steps may put a numpy number into a finding; json knows Python's own only.
    item = getattr(value, "item", None)
    if item is None:
        raise TypeError(f"{type(value).__name__} is not a plain value")
    return item()
