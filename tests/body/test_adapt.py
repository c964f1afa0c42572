"""Reshaping to a tape list: every measure met, gently, with nothing folded or forgotten.

The bodies are the project's own; the wanted numbers are theirs with known differences added,
so that what must come out is known without a reference body.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from fitkit.body.adapt import adapt
from fitkit.body.adapt_findings import shape_findings
from fitkit.body.adapted_body import AdaptedBody
from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.new_dents import new_dents_mm
from fitkit.body.tape_measure import TapeMeasure, girth_at_mm, tape_measures
from fitkit.body.taut_round import taut_round, taut_rounds
from fitkit.errors import InputError
from fitkit.findings import Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.body import stand_ins
from tests.body.stand_ins import bust, whole_body
from tests.truth.mannequin import mannequin

UP = np.array([0.0, 0.0, 1.0])
MIRROR = np.array([-1.0, 1.0, 1.0])
"""Left to right."""


@lru_cache(maxsize=1)
def figure() -> Body:
    return body_of_mesh(mannequin(10.0), settle=False)


@lru_cache(maxsize=1)
def walker() -> Body:
    return body_of_mesh(whole_body(), settle=False)


def lengths(body: Body) -> dict[str, float]:
    return {measure.name: measure.length_mm for measure in tape_measures(body)}


def changed(body: Body, differences: dict[str, float]) -> AdaptedBody:
    own = lengths(body)
    return adapt(body, {name: own[name] + more for name, more in differences.items()})


def codes(adapted: AdaptedBody) -> set[str]:
    return {finding.code for finding in adapted.body.findings}


def turning(adapted: AdaptedBody, start: Body) -> Floats:
    """(F,) float: cosine of how far each triangle's normal turned."""
    was, now = start.mesh.face_normals_scaled(), adapted.body.mesh.face_normals_scaled()
    scale = np.linalg.norm(was, axis=1) * np.linalg.norm(now, axis=1)
    cosine: Floats = np.einsum("fi,fi->f", was, now) / scale
    return cosine


CHANGE = {
    "chest": 150.0,
    "waist": 60.0,
    "hip": -40.0,
    "neck": 20.0,
    "left upper arm": 25.0,
    "right upper arm": 25.0,
}


@lru_cache(maxsize=1)
def reshaped() -> AdaptedBody:
    return changed(figure(), CHANGE)


def test_every_measure_of_the_list_is_met() -> None:
    """Within 1 mm is asked for; the tape itself is read to no better."""
    after, before = lengths(reshaped().body), lengths(figure())
    for name, more in CHANGE.items():
        assert after[name] == pytest.approx(before[name] + more, abs=0.2), name
    assert [row.name for row in reshaped().measures] == list(CHANGE)
    for row in reshaped().measures:
        assert row.before_mm == before[row.name]
        assert row.after_mm == pytest.approx(after[row.name], abs=1e-9)
    assert codes(reshaped()) - {f.code for f in figure().findings} == {"body-adapted"}


def test_the_measures_are_met_when_found_anew_on_the_mesh_alone() -> None:
    """Chest, waist and hip looked for again on the reshaped mesh lie where they were carried.

    The slope of the girth at waist and hip is held, so that a waist which grew while the hip
    shrank is still narrowest where it was.
    """
    anew = lengths(body_of_mesh(reshaped().body.mesh, settle=False))
    carried = lengths(reshaped().body)
    for row in reshaped().measures:
        assert anew[row.name] == pytest.approx(row.wanted_mm, abs=1.5), row.name
    for level in ("waist height", "hip height"):
        assert anew[level] == pytest.approx(carried[level], abs=6.0), level


def test_the_faces_are_the_same_and_none_turns_over() -> None:
    assert (reshaped().body.mesh.faces == figure().mesh.faces).all()
    assert turning(reshaped(), figure()).min() > 0.95


def test_a_mirrored_body_stays_mirrored() -> None:
    def unlikeness_mm(mesh: TriangleMesh) -> float:
        from scipy.spatial import cKDTree

        return float(cKDTree(mesh.vertices).query(mesh.vertices * MIRROR)[0].max())

    assert unlikeness_mm(figure().mesh) < 1e-6
    assert unlikeness_mm(reshaped().body.mesh) < 0.01


def test_level_sections_stay_single_rounds_that_do_not_cross_themselves() -> None:
    import shapely

    for height in np.linspace(800.0, 1470.0, 30).tolist():
        rounds = [
            taut_rounds(body.mesh, np.array([0.0, 0.0, height]), UP)
            for body in (figure(), reshaped().body)
        ]
        assert len(rounds[0]) == len(rounds[1]), height
        shapes = [shapely.Polygon(one.path.points_mm[:, :2]) for one in rounds[1]]
        assert all(shape.is_valid for shape in shapes), height
        for k, first in enumerate(shapes):
            assert all(first.disjoint(second) for second in shapes[:k]), height


def test_no_new_dent_is_made() -> None:
    """Beside the tapes the girth runs smoothly from one to the next.

    The change of girth, level by level, is nowhere greater than the greatest change asked for
    and never bends back between two tapes: it falls all the way from chest to hip.
    """
    heights = np.linspace(900.0, 1215.0, 43)
    change = np.array(
        [
            girth_at_mm(reshaped().body.mesh, [0, 0, z], UP)
            - girth_at_mm(figure().mesh, [0, 0, z], UP)
            for z in heights.tolist()
        ]
    )
    assert (np.diff(change) > -0.5).all()
    assert change.max() < 151.0


def test_no_place_lies_deeper_in_a_hollow_than_before_by_a_millimetre() -> None:
    assert new_dents_mm(figure().mesh, reshaped().body.mesh).max() < 1.0


@pytest.mark.slow
def test_one_build_becomes_another_by_the_whole_list() -> None:
    """All of 42 measures of a body 160 mm more in the chest and 80 mm taller, taken off it."""
    start = body_of_mesh(stand_ins.figure(stand_ins.BUILDS[0]), settle=False)
    other = stand_ins.Build("other", stature_mm=1820, girth=1.15, arms_rad=0.5)
    own = lengths(start)
    wanted = {
        name: length
        for name, length in lengths(body_of_mesh(stand_ins.figure(other), settle=False)).items()
        if name in own
    }
    assert wanted["chest"] - own["chest"] > 150.0
    assert len(wanted) == 42
    made = adapt(start, wanted)
    after = lengths(made.body)
    for name, length in wanted.items():
        assert after[name] == pytest.approx(length, abs=1.0), name
    assert turning(made, start).min() > 0.0
    assert "adapt-contradiction" not in codes(made)


@pytest.mark.slow
def test_legs_grow_by_eighty_and_the_chest_by_a_hundred_and_fifty() -> None:
    """The trunk above the crotch keeps its length; every named girth and height is met."""
    start = body_of_mesh(stand_ins.figure(stand_ins.BUILDS[0]), settle=False)
    own = lengths(start)
    heights = ("stature", "neck height", "chest height", "waist height", "hip height")
    more = dict.fromkeys((*heights, "crotch height"), 80.0)
    more |= {"left knee height": 46.0, "right knee height": 46.0, "chest": 150.0, "thigh": 0.0}
    more |= {"calf": 0.0, "ankle": 0.0, "waist": 60.0, "hip": 40.0}
    wanted = {
        name: own.get(name, own.get(f"left {name}", 0.0)) + grown for name, grown in more.items()
    }
    made = adapt(start, wanted)
    assert all(abs(row.off_mm) < 1.0 for row in made.measures)
    assert len(made.measures) == len(more) + 3
    assert turning(made, start).min() > 0.0
    assert new_dents_mm(start.mesh, made.body.mesh).max() < 1.0


def test_a_list_that_equals_the_body_changes_nothing() -> None:
    same = adapt(figure(), lengths(figure()))
    assert np.abs(same.shift_mm).max() == 0.0
    assert all(row.off_mm == 0.0 for row in same.measures)


def test_three_measures_leave_what_is_far_from_them_as_it_was() -> None:
    """Waist, hip and waist breadth; the arms and the neck are not meant."""
    few = changed(figure(), {"waist": 40.0, "hip": -30.0, "waist breadth": 12.0})
    far = (np.abs(figure().mesh.vertices[:, 0]) > 215.0) & (figure().mesh.vertices[:, 2] < 1250.0)
    assert far.sum() > 100
    assert np.linalg.norm(few.shift_mm[far], axis=1).max() < 2.0
    neck = figure().mesh.vertices[:, 2] > 1450.0
    assert np.linalg.norm(few.shift_mm[neck], axis=1).max() < 0.5


def test_an_arm_carried_by_a_wider_chest_keeps_its_own_shape() -> None:
    wide = changed(figure(), {"chest": 100.0})
    free = (figure().mesh.vertices[:, 0] > 215.0) & (figure().mesh.vertices[:, 2] < 1240.0)
    shift = wide.shift_mm[free]
    assert shift[:, 0].min() > 5.0
    assert np.ptp(shift, axis=0).max() < 0.5
    before, after = lengths(figure()), lengths(wide.body)
    assert after["left upper arm"] == pytest.approx(before["left upper arm"], abs=3.0)


def test_one_arm_alone_may_be_changed() -> None:
    one = changed(figure(), {"left upper arm": 20.0})
    right = figure().mesh.vertices[:, 0] < 0.0
    assert np.abs(one.shift_mm[right]).max() < 0.1
    assert lengths(one.body)["left upper arm"] == pytest.approx(
        lengths(figure())["left upper arm"] + 20.0, abs=0.2
    )


def test_a_measure_without_a_side_stands_for_both() -> None:
    own = lengths(figure())
    both = adapt(figure(), {"Upper  Arm": own["left upper arm"] + 10.0})
    assert [row.name for row in both.measures] == ["left upper arm", "right upper arm"]
    assert all(abs(row.off_mm) < 0.2 for row in both.measures)


def test_heights_and_girths_are_met_together_on_a_whole_body_that_stays_on_the_floor() -> None:
    more = {
        "chest": 150.0,
        "waist": -60.0,
        "hip": 60.0,
        "neck height": 80.0,
        "waist height": 50.0,
        "hip height": 40.0,
        "chest breadth": 35.0,
    }
    taller = changed(walker(), more)
    assert all(abs(row.off_mm) < 0.2 for row in taller.measures)
    assert turning(taller, walker()).min() > 0.2
    low_before, low_after = (b.mesh.vertices[:, 2].min() for b in (walker(), taller.body))
    assert low_after == pytest.approx(low_before, abs=0.2)


def _level_twice(body: Body) -> tuple[TapeMeasure, ...]:
    """Read the chest under a second name, as a list that names its level might."""
    height = float(body.landmarks["front chest"].at_mm[2])
    one = taut_round(body.mesh, np.array([0.0, 0.0, height]), UP)
    assert one is not None
    again = TapeMeasure("chest level", "girth", one.girth_mm, one.path, one.tape_mm, "")
    return (*tape_measures(body), again)


def test_a_contradiction_is_reported_with_its_least_squares_compromise() -> None:
    """Of two numbers for one girth the mean is nearest to both; the hip is met all the same."""
    own = lengths(figure())
    torn = adapt(
        figure(),
        {"chest": 900.0, "chest level": 940.0, "hip": own["hip"] + 20.0},
        read_tape=_level_twice,
    )
    after = {row.name: row.after_mm for row in torn.measures}
    assert after["chest"] == pytest.approx(920.0, abs=0.2)
    assert after["chest level"] == pytest.approx(920.0, abs=0.2)
    assert after["hip"] == pytest.approx(own["hip"] + 20.0, abs=0.2)
    told = [f for f in torn.body.findings if f.code == "adapt-contradiction"]
    assert {finding.where for finding in told} == {"chest", "chest level"}
    assert all(f.number == pytest.approx(20.0, abs=0.3) for f in told)


def test_an_impossible_list_turns_no_face_and_says_so() -> None:
    """No chest is more than half as broad as its girth is long."""
    dummy = body_of_mesh(bust(), settle=False)
    own = lengths(dummy)
    torn = adapt(dummy, {"chest": own["chest"] - 100.0, "chest breadth": own["chest"] * 0.6})
    assert {"adapt-contradiction", "adapt-far"} <= codes(torn)
    assert turning(torn, dummy).min() > 0.0


def test_an_arm_that_passes_into_the_trunk_is_a_stop() -> None:
    """Move the free left arm 90 mm inwards by hand."""
    start = figure()
    free = (start.mesh.vertices[:, 0] > 190.0) & (start.mesh.vertices[:, 2] < 1225.0)
    mesh = start.mesh.with_vertices(
        start.mesh.vertices - np.where(free, 90.0, 0.0)[:, np.newaxis] * [1.0, 0.0, 0.0]
    )
    crossed = Body(mesh, start.trust_mm, start.axes, start.landmarks)
    assert shape_findings(start, start, ()) == []
    stops = [f for f in shape_findings(start, crossed, ()) if f.severity is Severity.STOP]
    assert [found.code for found in stops] == ["adapt-parts-cross"]


def test_a_name_the_body_does_not_have_is_left_out_with_a_warning() -> None:
    own = lengths(figure())
    some = adapt(figure(), {"hat": 570.0, "waist": own["waist"] + 5.0})
    assert [row.name for row in some.measures] == ["waist"]
    told = [f for f in some.body.findings if f.code == "adapt-not-on-body"]
    assert [finding.where for finding in told] == ["hat"]
    assert "left upper arm" in told[0].remedy
    alone = adapt(figure(), {"hat": 570.0})
    assert alone.measures == ()
    assert np.abs(alone.shift_mm).max() == 0.0
    with pytest.raises(InputError, match="waist"):
        adapt(figure(), {"waist": -5.0})


def test_landmarks_and_axes_ride_on_the_surface() -> None:
    """A landmark stays in its triangle; the neck's axis stays in the middle of the neck."""
    from fitkit.geometry.nearest import nearest_on_mesh

    for name, mark in reshaped().body.landmarks.items():
        if name not in ("top", "bottom"):
            _, faces, distance = nearest_on_mesh(reshaped().body.mesh, mark.at_mm[np.newaxis])
            _, before, _ = nearest_on_mesh(figure().mesh, figure().landmarks[name].at_mm[None])
            assert distance[0] < 1e-6, name
            assert set(figure().mesh.faces[faces[0]]) & set(figure().mesh.faces[before[0]]), name
    for body in (figure(), reshaped().body):
        axis = body.axes["neck"]
        one = taut_round(body.mesh, axis.point_at_mm(0.5), axis.direction)
        assert one is not None
        assert np.linalg.norm(one.centre_mm - axis.point_at_mm(0.5)) < 2.0


def test_the_distance_is_what_the_surface_grew() -> None:
    grown = reshaped().distance_mm()
    front = figure().landmarks["front chest"].at_mm
    near = np.linalg.norm(figure().mesh.vertices - front, axis=1) < 15.0
    moved = reshaped().body.landmarks["front chest"].at_mm - front
    assert grown[near].mean() == pytest.approx(-moved[1], abs=3.0)
    assert grown.min() < 0.0 < grown.max()
