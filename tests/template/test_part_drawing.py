"""Words laid on parts of any shape: read back box by box."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from fitkit.drawing.drawing import Drawing
from fitkit.drawing.line_style import centre_cross_arm_mm
from fitkit.drawing.text_width import words_box_mm
from fitkit.template.part import NamedLine, Part
from fitkit.template.part_drawing import part_drawing
from fitkit.template.words import SMALLEST_MM, Block
from tests.template.random_parts import random_block, random_part


def faults(drawing: Drawing) -> list[str]:
    """Return what is wrong with a drawing's words."""
    boxes = [shapely.Polygon(words_box_mm(words)) for words in drawing.words]
    lines = [
        shapely.LinearRing(s.points_mm) if s.closed else shapely.LineString(s.points_mm)
        for s in drawing.strokes
    ]
    lines += [
        shapely.Point(hole.centre_mm).buffer(0.99 * centre_cross_arm_mm(hole))
        for hole in drawing.holes
    ]
    lines += [shapely.convex_hull(shapely.MultiPoint(fill.points_mm)) for fill in drawing.fills]
    wrong = []
    tree = shapely.STRtree(lines)
    for index, (words, box) in enumerate(zip(drawing.words, boxes, strict=True)):
        if len(tree.query(box, predicate="intersects")):
            wrong.append(f"'{words.text}' lies on a line")
        wrong += [
            f"'{words.text}' lies on '{other.text}'"
            for other, there in zip(drawing.words[:index], boxes, strict=False)
            if box.intersects(there)
        ]
        if words.height_mm < SMALLEST_MM - 1e-9:
            wrong.append(f"'{words.text}' is {words.height_mm} mm high")
        # Read from left to right or upwards; nothing in a drawing can mirror words.
        if not -np.pi / 2.0 < words.angle_rad < np.pi / 2.0 + 0.11:
            wrong.append(f"'{words.text}' is upside down")
    return wrong


@pytest.mark.parametrize(
    ("seed", "count"), [(1, 60), pytest.param(2, 440, marks=pytest.mark.slow)], ids=["60", "440"]
)
def test_words_of_random_parts_cross_nothing_and_stand_upright(seed: int, count: int) -> None:
    """Five hundred parts, asked; 20 to 400 mm, with all kinds of edges, holes and ticks."""
    rng = np.random.default_rng(seed)
    outside = letters = 0
    for number in range(count):
        part, block = random_part(rng), random_block(rng)
        drawing, findings = part_drawing(part, block, name="part", number=1 + number % 280)
        assert faults(drawing) == [], number
        said = [words.text for words in drawing.words]
        assert block.title.split()[0] in " ".join(said)
        # Whatever an edge is called or has done to it is on the paper or spoken of as left out.
        untold = " ".join(finding.message for finding in findings)
        for edge in part.edges:
            text = " ".join(said)
            assert edge.name in text or edge.name.split()[-1] in text or edge.name in untold
        outside += drawing.bounds_mm()[1, 0] > part.cut_mm[:, 0].max() + 5.0
        letters += any(f"{letter} = " in text for text in said for letter in "ABC")
    # The test has seen small parts and full ones.
    assert 0.05 * count < outside < 0.95 * count
    assert letters > 0.05 * count


def test_what_finds_no_room_gets_a_letter_that_the_key_explains() -> None:
    """A strip 9 mm wide: the hem's words are 60 mm long, its short side 40."""
    corners = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 18.0], [0.0, 18.0], [0.0, 0.0]])
    said = "bottom of the front plate: double hem 5 mm"
    edges = tuple(
        NamedLine(name, corners[k : k + 2]) for k, name in enumerate((said, "side", said, "end"))
    )
    part = Part(corners[:-1], corners[:-1], edges)
    drawing, findings = part_drawing(part, Block("1  strip", ("cut 1",)), name="strip", way=None)
    texts = [words.text for words in drawing.words]
    assert texts.count("A") == 2
    assert any(text.startswith("A = bottom of the front plate") for text in texts)
    assert findings == ()
    assert faults(drawing) == []
