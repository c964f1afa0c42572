"""Lines tell layers apart on a black-and-white print."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.drawing.drawing import Hole, Layer
from fitkit.drawing.line_style import ISO_128_WIDTHS_MM, LINE_STYLES, centre_cross_arm_mm


@pytest.mark.parametrize("layer", list(Layer))
def test_every_layer_has_a_width_of_the_iso_series(layer: Layer) -> None:
    """ISO 128-2 line widths."""
    assert LINE_STYLES[layer].width_mm in ISO_128_WIDTHS_MM


def test_cut_lines_are_at_least_twice_as_wide_as_any_other() -> None:
    """ISO 128-2: wide to narrow at least 2 : 1."""
    others = [LINE_STYLES[layer].width_mm for layer in Layer if layer is not Layer.CUT]
    assert LINE_STYLES[Layer.CUT].width_mm / max(others) >= 2.0


def test_lines_of_a_part_that_may_cross_differ_without_colour() -> None:
    looks = {
        (LINE_STYLES[layer].width_mm, LINE_STYLES[layer].dash_mm)
        for layer in (Layer.CUT, Layer.EDGE, Layer.GRAIN, Layer.MARK, Layer.PAPER)
    }
    assert len(looks) == 5


@pytest.mark.parametrize("layer", list(Layer))
def test_every_colour_stands_out_from_white_paper(layer: Layer) -> None:
    """Contrast at least 4.5 : 1 against white, relative luminance as in WCAG 2.2."""
    rgb = np.array(LINE_STYLES[layer].rgb)
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    luminance = float(linear @ [0.2126, 0.7152, 0.0722])
    assert 1.05 / (luminance + 0.05) >= 4.5


def test_colour_is_written_in_hexadecimal() -> None:
    assert LINE_STYLES[Layer.CUT].rgb_hex == "#000000"
    assert LINE_STYLES[Layer.EDGE].rgb_hex == "#003380"


def test_a_hole_s_cross_reaches_past_its_circle() -> None:
    assert centre_cross_arm_mm(Hole(np.zeros(2), 3.2)) > 1.6
