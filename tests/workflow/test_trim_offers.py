"""A trim on offer lies on the blank as on the plate, and the template says what it is for."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.drawing.drawing import Layer
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.job.motion_files import TrimOffer
from fitkit.template.make_templates import make_templates
from fitkit.workflow.trim_offers import trims_on
from tests.template.parts import rectangle


def offer(flat: FlatPatch, line_mm: Floats, *frees: str) -> dict[str, TrimOffer]:
    name = flat.design.name
    return {name: TrimOffer(name, 18.2, frees, (line_mm,))}


def test_the_line_lies_on_the_template_where_it_is_on_the_plate() -> None:
    flat = rectangle(120.0, 80.0, paired=True)
    corners = flat.form.vertices[
        [flat.flat_mm.sum(axis=1).argmin(), flat.flat_mm.sum(axis=1).argmax()]
    ]
    way = np.linspace(corners[0], corners[1], 12)[2:-2]
    offered = offer(flat, way, "left knee bend", "right knee bend", "kneel")
    lines, words = trims_on(flat, offered)
    assert words == "trim line: cut there for knee bend, kneel"
    (line,) = lines
    assert line.name == "trim line, 18 mm"
    length = np.linalg.norm(np.diff(line.points_mm, axis=0), axis=1).sum()
    assert length == pytest.approx(np.hypot(120, 80) * 7 / 11, abs=0.05)
    for one in make_templates(flat, number=1, job_name="Arm", wearer="Ada", trims=lines,
                              trim_words=words):  # fmt: skip
        marks = [stroke.points_mm for stroke in one.drawing.strokes if stroke.layer is Layer.MARK]
        assert any(len(mark) == 8 and np.linalg.norm(np.diff(mark, axis=0), axis=1).sum()
                   == pytest.approx(length, abs=0.05) for mark in marks)  # fmt: skip
        told = " ".join(word.text for word in one.drawing.words)
        assert "trim line, 18 mm" in told
        assert "cut there for knee bend" in told


def test_many_movements_are_told_in_short() -> None:
    flat = rectangle(120.0, 80.0)
    many = [f"{side} {what}" for side in ("left", "right") for what in ("a", "b", "c", "d")]
    words = trims_on(flat, offer(flat, flat.form.vertices[:2], *many, "left e"))[1]
    assert words == "trim line: cut there for a, b, c and 2 more movements"
    assert trims_on(flat, {}) == ((), "")
