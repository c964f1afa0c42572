"""How a sheet is brought to its form, in the words of the trade."""

from __future__ import annotations

from typing import Literal, TypeAlias

__all__ = ["Ease", "Forming"]

Forming: TypeAlias = Literal["roll", "dish", "raise", "balanced", "soft"]
"""How the sheet is brought to its form.

``roll`` only bends it; ``dish`` stretches the middle, so the blank is smaller than the plate;
``raise`` shrinks the rim, so it is larger; ``balanced`` does both alike; ``soft`` (foam, leather)
shares out by what the material gives either way.
"""

Ease: TypeAlias = Literal["worst spot", "overall"]
"""What a blank is laid out for: the sheet gives least at its worst spot, or least on the whole."""
