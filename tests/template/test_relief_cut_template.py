"""A template with relief cuts: notches, stop holes, ticks alike on both sides, words."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.drawing.drawing import Layer
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.flatten.relief_cuts import SurfaceCut
from fitkit.patch.design import EdgeTreatment, RivetRow
from fitkit.template.make_templates import make_templates
from fitkit.template.match_marks import match_marks
from fitkit.template.rivet_joint import RivetHoles, rivet_holes
from tests.truth import solids

TURNS = (0.5, 2.6, 4.7)


def on_cap(polar: float, turn: float) -> np.ndarray:
    return 150.0 * np.array(
        [np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)]
    )


FLAT = flatten_patch(
    solids.patch_of(
        solids.spherical_cap(150.0, 1.2, 12.0), material="aluminium", thickness_mm=1.0, name="cap"
    ),
    cuts=[SurfaceCut(on_cap(1.2, a), on_cap(0.4, a)) for a in TURNS],
)


@pytest.mark.parametrize("twin", [0, 1])
def test_holes_stand_at_the_tips_and_the_words_say_how(twin: int) -> None:
    flat = FLAT
    if twin:
        patch = solids.patch_of(
            solids.spherical_cap(150.0, 1.2, 12.0), name="cap", material="aluminium", paired=True
        )
        flat = flatten_patch(
            patch, cuts=[SurfaceCut(on_cap(1.2, a), on_cap(0.4, a)) for a in TURNS]
        )
    template = make_templates(flat, number=1, job_name="job", wearer="Robin")[twin]
    holes = template.drawing.holes
    assert [hole.diameter_mm for hole in holes] == [3.2] * 3
    assert {hole.layer for hole in holes} == {Layer.DRILL}
    for hole in holes:
        gaps = np.linalg.norm(template.outline_mm - hole.centre_mm, axis=1)
        assert gaps.min() < 1e-9, "the cut runs into its hole"
    words = " ".join(one.text for one in template.drawing.words)
    assert "3 relief cuts: drill 3.2" in words
    for number in (1, 2, 3):
        assert sum(one.text == f"relief cut {number}" for one in template.drawing.words) == 2


def test_both_sides_of_a_cut_get_ticks_that_meet() -> None:
    marks = match_marks(FLAT.outline, formed_edges(FLAT), [0.0] * len(FLAT.outline))
    for number in (1, 2, 3):
        mine = [mark for mark in marks if mark.line == f"relief cut {number}"]
        assert sorted(mark.label for mark in mine) == ["1", "1"]
        tip = FLAT.cuts[number - 1].tip_mm
        away = [float(np.linalg.norm(mark.at_mm - tip)) for mark in mine]
        assert away[0] == pytest.approx(away[1], rel=0.02)
    rim = [mark.label for mark in marks if mark.line == "rim 1"]
    assert len(set(rim)) == len(rim), "the rim is quartered or numbered once, not once a piece"


def test_riveted_cuts_get_holes_on_both_sides_for_a_strap_behind() -> None:
    """Holes stand opposite each other, one edge distance in, on the closed plate and the blank."""
    row = RivetRow("blind 3.2")
    patch = solids.patch_of(
        solids.spherical_cap(150.0, 1.2, 12.0), name="cap", material="aluminium", thickness_mm=1.0,
        edges={"cut": EdgeTreatment("lap", 0.0, rivets=row)},
    )  # fmt: skip
    flat = flatten_patch(patch, cuts=[SurfaceCut(on_cap(1.2, a), on_cap(0.4, a)) for a in TURNS])
    rows, findings = rivet_holes([flat])
    assert findings == ()
    assert len(rows) == 6
    sides: dict[str, list[RivetHoles]] = {}
    for one in rows:
        sides.setdefault(flat.outline[one.edge].line, []).append(one)
        assert one.grip_mm == 2.0
    for number in (1, 2, 3):
        here, there = sides[f"relief cut {number}"]
        assert len(here.holes_mm) == len(there.holes_mm) >= 5
        apart = np.linalg.norm(here.formed_mm[:, None] - there.formed_mm[None], axis=2)
        # Two edge distances apart across the closed cut, and level with each other.
        assert apart.min(axis=1) == pytest.approx(2.0 * here.rivet.good_edge_mm, abs=0.4)
    (template,) = make_templates(flat, number=1, job_name="job", wearer="Robin", rivets=rows)
    words = " ".join(one.text for one in template.drawing.words)
    assert "over a strap behind, 32 × 1" in words
    assert len(template.drawing.holes) == 3 + sum(len(one.holes_mm) for one in rows)
    plain = make_templates(FLAT, number=1, job_name="job", wearer="Robin")[0]
    assert template.outline_mm == pytest.approx(plain.outline_mm)
