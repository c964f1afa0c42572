"""The part number as a tag that a photo of the piece tells it by."""

from __future__ import annotations

from fitkit.drawing.drawing import Fill

__all__ = ["PART_TAG_SIDE_MM", "STICKER_MM", "part_of_tag", "part_tag"]

PART_TAG_SIDE_MM = 16.0
"""Side of the tag's black square: two millimetres for each of its eight modules."""

STICKER_MM = (21.0, 27.0)
"""Width and height of a tag to be stuck on: white all round, its part's name at its foot."""

# AprilTag 36h11 has 587 ids; marker sheets take the first three hundred.
_FIRST, _COUNT = 300, 587


def part_tag(number: int) -> list[Fill]:
    """Return the black areas of a part's tag about the origin; none beyond part 286."""
    from fitkit.capture.tag_fills import tag_fills

    tag = _FIRST + number
    return tag_fills(tag, PART_TAG_SIDE_MM) if tag < _COUNT else []


def part_of_tag(tag_id: int) -> int | None:
    """Return the part number that a tag stands for, None for other tags."""
    return tag_id - _FIRST if _FIRST < tag_id < _COUNT else None
