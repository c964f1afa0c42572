"""Rivets stand once in space and fall on both flats."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from fitkit.body.side import Side
from fitkit.errors import InputError
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.materials.rivet import rivet_named
from fitkit.patch.design import EdgeTreatment, RivetRow
from fitkit.template.blank_edges import blank_edges
from fitkit.template.make_templates import make_templates
from fitkit.template.rivet_joint import RivetHoles, rivet_holes
from fitkit.template.rivet_row import spread_rivets_mm
from tests.template.parts import barrel_panels, rectangle, vambrace


def test_row_of_the_worked_example() -> None:
    """AC 43.13-1B rules worked: 100 mm, ends 8, pitch to 16: seven rivets 14.0 apart."""
    row = spread_rivets_mm(100.0, ends_mm=8.0, pitch_mm=16.0)
    assert row == pytest.approx(8.0 + 14.0 * np.arange(7))


def test_a_short_seam_gets_one_amid() -> None:
    assert spread_rivets_mm(20.0, ends_mm=8.0, pitch_mm=16.0) == pytest.approx([10.0])


def with_rivets(flat: FlatPatch, line: str, **row: object) -> FlatPatch:
    rivets = RivetRow(**{"rivet": "blind 3.2", **row})  # type: ignore[arg-type]
    edges = {line: EdgeTreatment("lap", rivets=rivets)}
    return replace(flat, design=replace(flat.design, edges=edges, thickness_mm=1.0))


def on_form(flat: FlatPatch, points: Floats) -> Floats:
    """Return where points of a flat lie on its form, found triangle by triangle."""
    found = []
    for point in points:
        corners = flat.flat_mm[flat.faces]
        a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        p = point - corners[:, 0]
        whole = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        second = (p[:, 0] * b[:, 1] - p[:, 1] * b[:, 0]) / whole
        third = (a[:, 0] * p[:, 1] - a[:, 1] * p[:, 0]) / whole
        shares = np.column_stack([1 - second - third, second, third])
        face = int(shares.min(axis=1).argmax())
        found.append(shares[face] @ flat.form.vertices[flat.faces[face]])
    return np.array(found)


@pytest.fixture(scope="module")
def rows() -> tuple[tuple[RivetHoles, ...], dict[str, FlatPatch]]:
    panels = barrel_panels()
    panels["left upper"] = with_rivets(panels["left upper"], "waist")
    holes, findings = rivet_holes(list(panels.values()))
    assert findings == ()
    return holes, panels


def test_the_lap_finds_its_neighbour_below_and_only_it(
    rows: tuple[tuple[RivetHoles, ...], dict[str, FlatPatch]],
) -> None:
    holes, _ = rows
    assert [row.patch for row in holes] == ["left upper", "left lower"]
    assert len(holes[0].holes_mm) == len(holes[1].holes_mm) >= 7
    assert holes[0].in_words().endswith("blind rivets 3.2 × 5: drill 3.3 mm")


def test_holes_of_both_flats_meet_in_space(
    rows: tuple[tuple[RivetHoles, ...], dict[str, FlatPatch]],
) -> None:
    """Asked: within 0.2 mm. The lap's hole is carried to its foot on the seam and across."""
    (lap, plate), panels = rows
    assert on_form(panels["left lower"], plate.holes_mm) == pytest.approx(plate.formed_mm, abs=0.05)
    assert lap.formed_mm == pytest.approx(plate.formed_mm, abs=1e-9)
    # The barrel's waist is level: each hole lies straight below its foot on the seam, 8 mm down
    # the plate; the lap's own foot is at the same bearing.
    upper = panels["left upper"]
    edge = upper.outline[lap.edge].points_mm
    inwards = shapely.distance(shapely.LineString(edge), shapely.points(lap.holes_mm))
    assert inwards == pytest.approx(np.full(len(inwards), 8.0), abs=0.1)
    feet = edge[np.linalg.norm(lap.holes_mm[:, None] - edge[None], axis=2).argmin(axis=1)]
    bearing = np.arctan2(*on_form(upper, feet)[:, [1, 0]].T)
    below = np.arctan2(*plate.formed_mm[:, [1, 0]].T)
    # The feet are vertices of the edge: half a step of it off at most.
    assert bearing == pytest.approx(below, abs=3.5 / 120)


def test_pitch_in_space_is_even_and_within_what_is_usual(
    rows: tuple[tuple[RivetHoles, ...], dict[str, FlatPatch]],
) -> None:
    (_, plate), _ = rows
    gaps = np.linalg.norm(np.diff(plate.formed_mm, axis=0), axis=1)
    assert gaps.max() - gaps.min() < 0.1
    assert 3 * 3.2 <= gaps.mean() <= 16.0 + 0.2


def test_a_sleeves_seam_is_riveted_to_itself() -> None:
    sleeve = with_rivets(vambrace(), "seam")
    holes, _ = rivet_holes([sleeve])
    assert [row.patch for row in holes] == ["vambrace", "vambrace"]
    assert len({row.edge for row in holes}) == 2
    left, right = make_templates(sleeve, number=1, job_name="Heron", wearer="", rivets=holes)
    assert len(left.drawing.holes) == 2 * len(holes[0].holes_mm)
    width = left.outline_mm[:, 0].max()
    across = sorted((width - hole.centre_mm[0], hole.centre_mm[1]) for hole in left.drawing.holes)
    own = sorted(tuple(hole.centre_mm) for hole in right.drawing.holes)
    assert np.array(own) == pytest.approx(np.array(across), abs=1e-6)


def test_one_side_may_be_left_to_drill_on_assembly() -> None:
    panels = barrel_panels()
    panels["left upper"] = with_rivets(panels["left upper"], "waist", drill_later=True)
    lap, plate = rivet_holes(list(panels.values()))[0]
    assert not lap.later
    assert plate.later
    flat = panels["left lower"]
    (template,) = make_templates(flat, number=1, job_name="H", wearer="", rivets=[plate])
    assert template.drawing.holes == ()
    said = " ".join(words.text for words in template.drawing.words)
    assert "through the lap on assembly" in said


def test_what_breaks_a_rule_is_told() -> None:
    panels = barrel_panels()
    panels["left upper"] = with_rivets(panels["left upper"], "waist", pitch_mm=60.0)
    found = {finding.code for finding in rivet_holes(list(panels.values()))[1]}
    assert found == {"rivet-pitch"}
    alone = with_rivets(rectangle(), "foot")
    assert {f.code for f in rivet_holes([alone])[1]} == {"rivets-no-neighbour"}


def test_a_stack_nothing_closes_names_the_edge() -> None:
    panels = barrel_panels()
    thick = with_rivets(panels["left upper"], "waist")
    panels["left upper"] = replace(thick, design=replace(thick.design, thickness_mm=14.0))
    with pytest.raises(InputError, match="left upper, rivets along 'waist'"):
        rivet_holes(list(panels.values()))


def test_parts_that_come_off_again_are_held_by_screws_or_posts() -> None:
    panels = barrel_panels()
    panels["left upper"] = with_rivets(panels["left upper"], "waist", rivet="screw M4")
    panels["left lower"] = with_rivets(panels["left lower"], "hem")
    lap, plate = rivet_holes([panels["left upper"], panels["left lower"]])[0]
    assert lap.drill_mm == plate.drill_mm == 4.3
    assert lap.in_words().endswith("screws M4 × 8 with lock nut: drill 4.3 mm")
    panels["left upper"] = with_rivets(panels["left upper"], "waist", rivet="post 5")
    lap, _ = rivet_holes([panels["left upper"], panels["left lower"]])[0]
    assert "screw posts 5 × 4: drill 5.1 mm" in lap.in_words()


def test_a_countersunk_head_in_thin_sheet_is_told() -> None:
    panels = barrel_panels()
    panels["left upper"] = with_rivets(panels["left upper"], "waist", rivet="solid 3.2 countersunk")
    found = {f.code: f for f in rivet_holes(list(panels.values()))[1]}
    assert set(found) == {"countersink-deep"}
    assert "Dimple" in found["countersink-deep"].remedy


def test_a_plate_is_riveted_to_its_own_twin_along_the_middle() -> None:
    """Each half's lap lies on the other: the holes of one are the mirror image of the other's."""
    left = barrel_panels()["left upper"]
    left = replace(left, design=replace(left.design, side=Side.LEFT, paired=True))
    left = with_rivets(left, "centre")
    holes, findings = rivet_holes([left])
    assert findings == ()
    lap, plate = holes
    assert lap.edge == plate.edge
    assert len(lap.holes_mm) == len(plate.holes_mm) >= 3
    # In space a lap's holes lie in the twin, where the twin's mirror image has the plate's.
    assert (lap.formed_mm[:, 0] < 0).all()
    mirrored = lap.formed_mm * [-1.0, 1.0, 1.0]
    order = np.argsort(mirrored[:, 2]), np.argsort(plate.formed_mm[:, 2])
    assert mirrored[order[0]] == pytest.approx(plate.formed_mm[order[1]], abs=0.2)
    made = make_templates(left, number=1, job_name="H", wearer="", rivets=holes)
    assert {len(template.drawing.holes) for template in made} == {2 * len(lap.holes_mm)}


def test_holes_nearer_to_a_cut_or_a_bend_than_the_rule_are_told() -> None:
    """2 D = 6.4 mm to a cut (AC 43.13-1B); hole's edge 2.5 t + R = 4.0 mm to a bend (guides)."""
    flat = rectangle(thickness_mm=1.0, edges={"head": EdgeTreatment("flange", 10.0, radius_mm=1.5)})
    index = next(k for k, edge in enumerate(flat.outline) if edge.line == "inner")
    rivet = rivet_named("blind 3.2")

    def codes(*holes: tuple[float, float]) -> list[tuple[str, float]]:
        at = np.array(holes) @ np.linalg.inv(blank_edges(flat).upright.T)
        row = RivetHoles("x", index, at, np.zeros((len(holes), 3)), rivet, 3.3, 2.0, 6.0)
        (made,) = make_templates(flat, number=1, job_name="H", wearer="", rivets=[row])
        return [(f.code, f.number or 0.0) for f in made.findings if f.code == "hole-near"]

    low, high = flat.flat_mm.min(axis=0), flat.flat_mm.max(axis=0)
    blank = blank_edges(flat)
    corner = (np.array([low, high]) @ blank.upright.T).min(axis=0)
    assert codes(tuple(corner + np.array([8.0, 40.0]))) == []
    ((_, room),) = codes(tuple(corner + np.array([5.0, 40.0])))
    assert room == pytest.approx(5.0, abs=1e-6)
    ((_, room),) = codes(tuple(corner + np.array([60.0, 115.0])))
    assert room < 4.0
