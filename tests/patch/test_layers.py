from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.errors import DesignError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.patch.design import EdgeTreatment, HeightAnchor, PatchDesign
from fitkit.patch.form import grow_form
from fitkit.patch.layers import RUNOUT_MM, lifted_mm, lowest_first
from fitkit.patch.patch import Patch, PatchEdge
from tests.truth import solids

BALL = solids.sphere(150, 5)
BODY = Body(BALL, np.zeros(len(BALL.vertices)))
PLAIN = np.zeros(len(BALL.vertices))


def design(name: str, *over: str) -> PatchDesign:
    return PatchDesign(name, ("ring",), HeightAnchor(0, 0), thickness_mm=2.0, over=over)


def lower_cap(clearance_mm: float, half_angle: float, lap_mm: float = 0.0) -> Patch:
    """Return a cap of sheet 2 mm thick, round +x, whose inside lies at a clearance."""
    cap = solids.spherical_cap(151 + clearance_mm, half_angle, 4)
    turned = cap.with_vertices(cap.vertices[:, [2, 0, 1]])
    rim = solids.border_rounds(turned)[0]
    edge = PatchEdge("ring", np.r_[rim, rim[:1]])
    own = replace(
        design("lower"), clearance_mm=clearance_mm, edges={"ring": EdgeTreatment("lap", lap_mm)}
    )
    return Patch(own, turned, ((edge,),))


def test_the_upper_plate_stands_off_by_the_lower_sheet_and_the_play() -> None:
    """Closed form: on a ball both sheets are spheres; insides 2 mm of sheet and 0.5 mm apart."""
    raised = lifted_mm(BODY, PLAIN, [lower_cap(5.0, 0.6)], clearance_mm=5.0, play_mm=0.5)
    form = grow_form(BODY, clearance_mm=5, thickness_mm=1.2, raised_mm=raised, cell_mm=5)
    radius = np.linalg.norm(form.mesh.vertices, axis=1)
    off = np.arccos(form.mesh.vertices[:, 0] / radius)  # from the middle of the cap
    assert radius[off < 0.55] == pytest.approx(150 + 5 + 2 + 0.5 + 0.6, abs=0.1)
    assert radius[off > 0.6 + RUNOUT_MM / 150 + 0.07] == pytest.approx(155.6, abs=0.1)
    between = (off > 0.6) & (off < 0.6 + RUNOUT_MM / 150)
    assert (radius[between] > 155.5).all()
    assert (radius[between] < 158.2).all()


def test_a_lap_counts_as_part_of_the_lower_plate() -> None:
    bare, lapped = (
        lifted_mm(BODY, PLAIN, [lower_cap(5.0, 0.6, lap)], clearance_mm=5, play_mm=0)
        for lap in (0.0, 20.0)
    )
    off = np.arccos(np.clip(BALL.vertices[:, 0] / 150, -1, 1))
    strip = (off > 0.6 + 9 / 156) & (off < 0.6 + 18 / 156)
    assert strip.sum() > 20
    assert lapped[strip] == pytest.approx(2.0, abs=0.05)
    assert bare[strip].max() < 2.0


def test_a_pair_lifts_what_lies_over_it_on_both_sides() -> None:
    lower = lower_cap(5.0, 0.6)
    pair = replace(lower, design=replace(lower.design, paired=True))
    raised = lifted_mm(BODY, PLAIN, [pair], clearance_mm=5, play_mm=0.5)
    far = np.abs(BALL.vertices[:, 0]) > 150 * np.cos(0.55)
    assert raised[far] == pytest.approx(2.5, abs=0.05)


def test_a_plate_that_stands_off_further_anyway_is_not_lifted() -> None:
    raised = lifted_mm(BODY, PLAIN, [lower_cap(5.0, 0.6)], clearance_mm=12, play_mm=0.5)
    assert raised.max() == 0.0


def test_the_lifted_form_clears_the_lower_sheet_on_an_egg() -> None:
    """The sheets' middles are half of each sheet and the play apart, nowhere nearer."""
    egg = solids.ellipsoid((160, 110, 130), 5)
    body = Body(egg, np.zeros(len(egg.vertices)))
    low = grow_form(body, clearance_mm=4, thickness_mm=2, cell_mm=5)
    chosen = low.mesh.corners.mean(axis=1)[:, 0] > 60
    sheet = low.mesh.faces_only(chosen)[0]
    rim = solids.border_rounds(sheet)[0]
    lower = Patch(
        replace(design("lower"), clearance_mm=4.0),
        sheet,
        ((PatchEdge("ring", np.r_[rim, rim[:1]]),),),
    )
    raised = lifted_mm(body, np.zeros(len(egg.vertices)), [lower], clearance_mm=3, play_mm=1)
    upper = grow_form(body, clearance_mm=3, thickness_mm=1, raised_mm=raised, cell_mm=5)
    gap = nearest_on_mesh(upper.mesh, sheet.vertices)[2]
    assert gap.min() > 2.5 - 0.15  # flat triangles of three meshes take up to 0.05 each
    inner = sheet.vertices[:, 0] > 65
    assert gap[inner].max() < 2.5 + 0.05


def test_plates_are_taken_from_the_lowest_up() -> None:
    cap, breast, back = design("cap", "breast", "back"), design("breast", "back"), design("back")
    names = [one.name for one in lowest_first([cap, breast, back])]
    assert names == ["back", "breast", "cap"]
    with pytest.raises(DesignError, match="ring: 'a' over 'b' over 'a'"):
        lowest_first([design("a", "b"), design("b", "a")])
    with pytest.raises(DesignError, match="over 'gone', which is not drawn"):
        lowest_first([design("a", "gone"), design("b")])


def test_what_faces_the_outside_of_a_plate_is_not_under_it() -> None:
    """A second ball 30 mm beside the plated one, as an arm hangs beside the trunk."""
    other = BALL.with_vertices(BALL.vertices + np.array([150 + 8 + 30 + 150, 0, 0]))
    both = TriangleMesh(
        np.vstack([BALL.vertices, other.vertices]),
        np.vstack([BALL.faces, other.faces + len(BALL.vertices)]),
    )
    body = Body(both, np.zeros(len(both.vertices)))
    raised = lifted_mm(body, None, [lower_cap(5.0, 0.6)], clearance_mm=5.0, play_mm=0.5)
    assert raised[: len(BALL.vertices)].max() == pytest.approx(2.5, abs=0.05)
    assert raised[len(BALL.vertices) :].max() == 0.0
