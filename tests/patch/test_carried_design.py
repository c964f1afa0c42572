"""One design of 24 patches, drawn on one body and carried to a larger one by landmarks."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from math import radians

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.job.carried_rows import carried_rows
from fitkit.job.designs import line_designs, patch_designs
from fitkit.job.settings_text import read_settings
from fitkit.patch.anchor import place_anchors
from fitkit.patch.cut_patches import cut_patches
from fitkit.patch.design import GeodesicLine, HeightAnchor, TapeLineDesign
from fitkit.patch.drawn_on import DrawnOn, drawn_on, moved_findings, strayed_findings
from fitkit.patch.form import Form, grow_form
from fitkit.patch.landmark_map import LandmarkMap
from fitkit.patch.line_network import lay_tape_lines
from fitkit.patch.patch import Patch
from fitkit.patch.tape_line import TapeLine
from tests.geometry.test_offset import crossings
from tests.truth.mannequin import mannequin

LEVELS = (830, 900, 980, 1075, 1150, 1195)
ALONG = (0.6, 0.75, 0.93)


def design_text() -> str:
    """Return five bands of four plates round the trunk, and two sleeves on each arm."""
    rows = ['format = 1\n[job]\nname = "Bands"\n', '[[line]]\nname = "middle"\nkind = "symmetry"\n']
    rows += [f'[[line]]\nname = "level {z}"\nkind = "level"\nheight_mm = {z}\n' for z in LEVELS]
    for side, turn in (("left", 95), ("right", 265)):
        rows.append(
            f'[[line]]\nname = "{side} side"\nkind = "geodesic"\npoints = ['
            f"{{ height_mm = 815, bearing_deg = {turn} }}, "
            f"{{ height_mm = 1010, bearing_deg = {turn} }}, "
            f"{{ height_mm = 1212, bearing_deg = {turn} }}]\n"
        )
        rows += [
            f'[[line]]\nname = "{side} arm {a}"\nkind = "level"\naxis = "{side} arm"\nalong = {a}\n'
            for a in ALONG
        ]
        rows += [
            f'[[patch]]\nname = "{side} sleeve {a}"\nlines = ["{side} arm {a}", "{side} arm {b}"]\n'
            f'inside = {{ axis = "{side} arm", along = {(a + b) / 2}, bearing_deg = 0 }}\n'
            for a, b in pairwise(ALONG)
        ]
    for low, high in pairwise(LEVELS):
        for name, turn in (("fl", 45), ("bl", 140), ("br", 220), ("fr", 315)):
            side = "left" if turn < 180 else "right"
            rows.append(
                f'[[patch]]\nname = "{name} {low}"\n'
                f'lines = ["middle", "level {low}", "level {high}", "{side} side"]\n'
                f"inside = {{ height_mm = {(low + high) / 2}, bearing_deg = {turn} }}\n"
            )
    return "\n".join(rows)


def laid(
    body: Body, text: str
) -> tuple[Form, tuple[TapeLineDesign, ...], tuple[TapeLine, ...], tuple[Patch, ...]]:
    settings = read_settings(text)
    form = grow_form(body, clearance_mm=6, cell_mm=8)
    designs = line_designs(settings)
    lines = lay_tape_lines(form, designs)
    return form, designs, lines, cut_patches(form, lines, patch_designs(settings))


@lru_cache(maxsize=1)
def bodies() -> tuple[Body, Body]:
    """Return the sample's body and one 12 % larger, its landmarks found anew."""
    mesh = mannequin(10.0)
    return body_of_mesh(mesh), body_of_mesh(mesh.with_vertices(1.12 * mesh.vertices))


def anchors_of(form: Form, designs: tuple[TapeLineDesign, ...]) -> np.ndarray:
    wanted = [a for one in designs if isinstance(one, GeodesicLine) for a in one.through]
    return np.array([place.point_mm for place in place_anchors(form, wanted)])


@pytest.mark.slow
def test_a_design_of_24_patches_lies_on_a_larger_body_without_redrawing() -> None:
    """Anchors within 3 mm of a landmark-wise map: a spline in space through all landmarks.

    The map here is the test's own, through every landmark of both bodies; then the nearest place
    of the form, as clearance does not grow with the body.
    """
    first, second = bodies()
    here = laid(first, design_text())
    text = carried_rows(design_text(), LandmarkMap(first.landmarks, second.landmarks))
    there = laid(second, text)
    assert len(there[3]) == 24
    for before, after in zip(here[3], there[3], strict=True):
        assert before.design.name == after.design.name
        assert not after.findings
        assert [len(loop) for loop in after.loops] == [len(loop) for loop in before.loops]
        assert {e.line for loop in after.loops for e in loop} == set(after.design.boundary)
        assert crossings(after.mesh) == 0
        assert after.mesh.area_mm2() == pytest.approx(1.12**2 * before.mesh.area_mm2(), rel=0.06)
    names = [name for name in first.landmarks if name in second.landmarks]
    spline = RBFInterpolator(
        np.array([first.landmarks[name].at_mm for name in names]),
        np.array([second.landmarks[name].at_mm for name in names]),
        kernel="linear",
        degree=1,
    )
    mapped = nearest_on_mesh(there[0].mesh, spline(anchors_of(here[0], here[1])))[0]
    off = np.linalg.norm(mapped - anchors_of(there[0], there[1]), axis=1)
    assert off.max() < 3.0, off
    assert not strayed_findings(drawn_on(*here[:3]), drawn_on(*there[:3]), there[0])


def test_without_carrying_lines_stray_and_are_named() -> None:
    """Heights above the floor taken as they are lie up to 12 % of a height too low."""
    first, second = bodies()
    turn = radians(95)
    side = GeodesicLine("left side", (HeightAnchor(1010, turn), HeightAnchor(1200, turn)))
    found = []
    for body in (first, second):
        form = Form(body.mesh, 0.0, body)
        found.append((form, drawn_on(form, [side], lay_tape_lines(form, [side]))))
    (finding,) = [
        one
        for one in strayed_findings(found[0][1], found[1][1], found[1][0])
        if "from where the landmarks" in one.message
    ]
    assert finding.where == "left side"
    assert finding.number == pytest.approx(0.12 * 1200, abs=8)


def test_a_body_that_changed_under_the_lines_is_told() -> None:
    first, second = bodies()
    before = DrawnOn(first.landmarks, {}, {})
    assert not moved_findings(before, first.landmarks)
    (finding,) = moved_findings(before, second.landmarks)
    assert finding.code == "body-changed"
    # The farthest from the origin moves most: 12 % of its distance.
    farthest = max(float(np.linalg.norm(mark.at_mm)) for mark in first.landmarks.values())
    assert finding.number == pytest.approx(0.12 * farthest, abs=2)
