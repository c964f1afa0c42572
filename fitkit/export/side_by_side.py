"""Several pictures beside each other as one."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from fitkit.export.body_shading import GROUND_RGB

__all__ = ["png_side_by_side"]


def png_side_by_side(panels: Sequence[Any]) -> bytes:
    """Return Pillow images from left to right, their upper edges level, as one PNG."""
    from PIL import Image

    sheet = Image.new(
        "RGB",
        (sum(panel.width for panel in panels), max(panel.height for panel in panels)),
        GROUND_RGB,
    )
    x = 0
    for panel in panels:
        sheet.paste(panel, (x, 0))
        x += panel.width
    buffer = io.BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()
