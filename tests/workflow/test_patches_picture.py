"""The picture of the patches colours each up to its lines and writes its number in it."""

from __future__ import annotations

import io
from math import pi

import numpy as np
from PIL import Image

from fitkit.geometry.arrays import Bytes
from fitkit.patch.cut_patches import CutForm, cut_form
from fitkit.patch.design import HeightAnchor, LevelLine, PatchDesign, SymmetryLine
from fitkit.patch.line_network import lay_tape_lines
from fitkit.workflow.patches_picture import png_of_cut
from tests.patch.upright import cylinder_form

FORM = cylinder_form()
LINES = lay_tape_lines(
    FORM,
    (LevelLine("low", height_mm=100), LevelLine("high", height_mm=300), SymmetryLine("middle")),
)
LEFT = PatchDesign("left", ("low", "high", "middle"), HeightAnchor(200, pi / 2))


def picture(cut: CutForm, number: str = "7", view: str = "front") -> Bytes:
    png = png_of_cut(cut, (), {"left": number}, views=(view,), height_px=400)
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def test_the_patch_is_coloured_up_to_its_lines_and_numbered() -> None:
    plain, one, other = (
        picture(cut_form(FORM, LINES, designs), number)
        for designs, number in (((), ""), ((LEFT,), "7"), ((LEFT,), "8"))
    )
    changed = (np.abs(plain.astype(int) - one) > 12).any(axis=2)
    body = np.flatnonzero((plain[200] < 240).any(axis=1))
    middle = (body[0] + body[-1]) // 2
    # The wearer's left is on the right of the picture; half of 200 of 400 mm is coloured.
    assert not changed[:, : middle - 2].any()
    share = changed[:, middle + 2 : body[-1]].any(axis=1).mean()
    assert 0.38 < share < 0.52
    digits = (np.abs(one.astype(int) - other) > 60).any(axis=2)
    rows, columns = np.nonzero(digits)
    assert middle < columns.min() < columns.max() < body[-1]
    assert np.ptp(rows) < 30


def test_a_number_is_not_written_on_the_side_that_does_not_show_the_patch() -> None:
    cut = cut_form(FORM, LINES, (LEFT,))
    assert np.array_equal(picture(cut, "7", "right"), picture(cut, "8", "right"))
    assert not np.array_equal(picture(cut, "7", "left"), picture(cut, "8", "left"))
