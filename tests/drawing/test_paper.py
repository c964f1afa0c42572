"""Paper sizes are those of the standards."""

from __future__ import annotations

import pytest

from fitkit.drawing.paper import paper_named
from fitkit.errors import InputError


@pytest.mark.parametrize(
    ("name", "size_mm"),
    [
        ("A4", (210.0, 297.0)),  # ISO 216
        ("a3", (297.0, 420.0)),  # ISO 216
        ("Letter", (8.5 * 25.4, 11 * 25.4)),  # ANSI/ASME Y14.1 size A
        ("TABLOID", (11 * 25.4, 17 * 25.4)),  # ANSI/ASME Y14.1 size B
    ],
)
def test_a_paper_has_its_published_size(name: str, size_mm: tuple[float, float]) -> None:
    paper = paper_named(name)
    assert (paper.width_mm, paper.height_mm) == pytest.approx(size_mm, abs=1e-9)


def test_an_unknown_paper_is_answered_with_those_there_are() -> None:
    with pytest.raises(InputError) as caught:
        paper_named("A9")
    assert "A4" in caught.value.remedy
