"""Lines of equal stretch, and emblems, on the drawing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.body.side import Side
from fitkit.drawing.drawing import Layer
from fitkit.drawing.line_style import LINE_STYLES
from fitkit.flatten.stretch import area_strain, at_flat_vertices
from fitkit.template.make_templates import make_templates
from fitkit.template.stretch_contours import stretch_contours
from tests.template.parts import dome, rectangle
from tests.template.test_part_drawing import faults


def test_contours_lie_where_the_stretch_is_what_they_say() -> None:
    """A dished cap grows from its rim inwards: rings about its middle, each at its own value."""
    flat = dome()
    growth = 100.0 * at_flat_vertices(area_strain(flat.stretch), flat.flat_mm, flat.faces)
    lines = stretch_contours(flat)
    assert len({line.name for line in lines}) >= 3
    for line in lines:
        value = float(line.name.replace("−", "-").removesuffix(" %"))
        gaps = np.linalg.norm(flat.flat_mm[:, None] - line.points_mm[None, ::7], axis=2)
        near = growth[gaps.argmin(axis=0)]
        assert np.abs(near - value).mean() < 0.25 * np.ptp(growth)
    assert stretch_contours(rectangle()) == ()


def test_the_underlay_is_on_request_light_and_under_no_words() -> None:
    flat = dome()
    (plain,) = make_templates(flat, number=1, job_name="H", wearer="")
    assert Layer.UNDERLAY not in {stroke.layer for stroke in plain.drawing.strokes}
    flat = replace(flat, design=replace(flat.design, contours=True))
    (shown,) = make_templates(flat, number=1, job_name="H", wearer="")
    under = [stroke for stroke in shown.drawing.strokes if stroke.layer is Layer.UNDERLAY]
    assert len(under) >= 3
    assert any(words.layer is Layer.UNDERLAY for words in shown.drawing.words)
    assert faults(shown.drawing) == []
    pen = LINE_STYLES[Layer.UNDERLAY]
    # Light, and grey: a black-and-white print shows it as it is.
    assert len(set(pen.rgb)) == 1
    assert pen.dash_mm
    assert pen.width_mm <= 0.18


@pytest.mark.parametrize("same", [True, False])
def test_an_emblem_is_drawn_on_both_twins_and_words_keep_off_it(same: bool) -> None:
    flat = rectangle(paired=True, side=Side.LEFT)
    low = flat.flat_mm.min(axis=0)
    hook = low + np.array([[60.0, 40.0], [60.0, 80.0], [90.0, 80.0]])
    twin = [hook * [-1.0, 1.0] + [2 * hook[:, 0].mean(), 0.0]] if same else [hook]
    left, right = make_templates(
        flat, number=1, job_name="H", wearer="", art_mm=[hook], twin_art_mm=twin
    )
    drawn = []
    for template in (left, right):
        (art,) = [s.points_mm for s in template.drawing.strokes if s.layer is Layer.ART]
        drawn.append(art)
        assert faults(template.drawing) == []
    steps = [np.diff(a, axis=0) for a in drawn]
    turns = [np.sign(s[0, 0] * s[1, 1] - s[0, 1] * s[1, 0]) for s in steps]
    assert (turns[0] == turns[1]) == same
