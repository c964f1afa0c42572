"""The mark that tells an old print from the present one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitkit.drawing.drawing import Hole
from fitkit.template.make_templates import make_templates
from fitkit.template.part import NamedLine, Part
from fitkit.template.revision import revision_of
from tests.template.parts import rectangle, vambrace

SQUARE = np.array([[0.0, 0.0], [90.0, 0.0], [90.0, 60.0], [0.0, 60.0]])
PART = Part(SQUARE, SQUARE, ())


def test_what_is_cut_drilled_or_bent_otherwise_gets_another_mark() -> None:
    hole = Hole(np.array([20.0, 20.0]), 3.3)
    fold = NamedLine("hem", SQUARE[:2])
    others = [
        Part(SQUARE, SQUARE * 1.001, ()),
        replace(PART, holes=(hole,)),
        replace(PART, holes=(replace(hole, diameter_mm=4.1),)),
        replace(PART, folds=(fold,)),
    ]
    marks = {revision_of(part) for part in (PART, *others)}
    assert len(marks) == 5


def test_a_thousandth_of_a_millimetre_and_words_make_no_difference() -> None:
    again = Part(SQUARE + 0.001, SQUARE + 0.001, (NamedLine("hem", SQUARE[:2]),))
    assert revision_of(again) == revision_of(PART)
    assert revision_of(PART, "B") == f"B-{revision_of(PART)}"


def test_every_template_bears_its_revision_grain_and_quantity() -> None:
    for flat in (rectangle(), vambrace()):
        made = make_templates(flat, number=1, job_name="Heron", wearer="Ada", revision="C")
        for template in made:
            said = " ".join(words.text for words in template.drawing.words)
            assert template.revision.startswith("C-")
            assert f"Heron · Ada · rev {template.revision}" in said
            assert "grain any way" in said
            assert "outside shown" in said
            assert "cut 1" in said
        assert len({template.revision for template in made}) == len(made)
