"""Words are as wide as they are taken for, in the scripts a wearer's name may need."""

from __future__ import annotations

import numpy as np
import pytest
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont as ReportlabFont

from fitkit.drawing.drawing import TextAnchor, Words
from fitkit.drawing.text_width import (
    CAP_HEIGHT_PER_EM,
    em_mm,
    font_file,
    shortened,
    text_width_mm,
    words_box_mm,
    wrapped,
)

NAMES = ("Heron Warden", "Zoë Łukasz Ωmega", "Жанна Щука", "Żółć ½ × 100 mm", "")


@pytest.mark.parametrize("text", NAMES)
def test_width_is_that_of_an_independent_reader_of_the_font(text: str) -> None:
    """ReportLab parses the font file with code of its own; its answer is rounded to 1/1000 em."""
    pdfmetrics.registerFont(ReportlabFont("width check", font_file()))
    expected = pdfmetrics.stringWidth(text, "width check", em_mm(5.0))
    assert text_width_mm(text, 5.0) == pytest.approx(expected, abs=0.005 * max(len(text), 1))


def test_height_is_the_height_of_a_capital_letter() -> None:
    with TTFont(font_file()) as font:
        pen = BoundsPen(font.getGlyphSet())
        font.getGlyphSet()["H"].draw(pen)
        assert pen.bounds[3] / font["head"].unitsPerEm == CAP_HEIGHT_PER_EM
    assert em_mm(CAP_HEIGHT_PER_EM) == pytest.approx(1.0)


def test_the_box_follows_anchor_and_turn() -> None:
    width = text_width_mm("knee", 4.0)
    words = Words("knee", np.array([10.0, 20.0]), 4.0, np.pi / 2, TextAnchor.RIGHT)
    box = words_box_mm(words)
    np.testing.assert_allclose(box[:, 1].min(), 20.0 - width, atol=1e-9)
    np.testing.assert_allclose(box[:, 1].max(), 20.0, atol=1e-9)
    assert box[:, 0].min() < 10.0 - 4.0
    assert box[:, 0].max() > 10.0


def test_wrapped_lines_fit_and_keep_every_word() -> None:
    text = "Lay the sheets flat, taped down, around the wearer, none covered."
    lines = wrapped(text, 3.0, 45.0)
    assert len(lines) > 2
    assert " ".join(lines) == text
    assert max(text_width_mm(line, 3.0) for line in lines) <= 45.0


def test_too_long_words_end_in_an_ellipsis() -> None:
    assert shortened("knee", 3.0, 100.0) == "knee"
    short = shortened("elbow guard with a long name", 3.0, 30.0)
    assert short.endswith("…")
    assert text_width_mm(short, 3.0) <= 30.0
