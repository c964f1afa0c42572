"""What to photograph again."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.capture.coverage import cover_surface
from fitkit.capture.photo_advice import advice_findings, plan_photos
from fitkit.capture.scan import CaptureVolume
from fitkit.findings import Severity
from fitkit.geometry.mesh import TriangleMesh
from tests.capture.test_coverage import LENS, joined
from tests.truth.solids import sphere
from tests.truth.textured_egg import camera_at

VOLUME = CaptureVolume(0.0, 0.0, 400.0, 15.0, 2000.0)
HEIGHT = np.array([0.0, 0.0, 1000.0])


def ball() -> TriangleMesh:
    mesh = sphere(200.0, 20.0)
    return mesh.with_vertices(mesh.vertices + HEIGHT)


def walk(bearings_deg: list[float], elevations_deg: tuple[float, ...] = (-20.0, 25.0, 65.0)):
    cameras = []
    for bearing in np.radians(bearings_deg):
        for rise in np.radians(elevations_deg):
            level = np.cos(rise)
            way = np.array([level * np.sin(bearing), -level * np.cos(bearing), np.sin(rise)])
            cameras.append(camera_at(f"{len(cameras)}", HEIGHT + 1200.0 * way, HEIGHT, lens=LENS))
    return tuple(cameras)


def test_a_walk_all_round_and_above_leaves_nothing_to_ask_for() -> None:
    cameras = walk(list(range(0, 360, 20)), (-40.0, 10.0, 70.0))
    plan = plan_photos(cover_surface(ball(), cameras, VOLUME), ball(), cameras)
    assert plan.advice == ()
    assert plan.wanting_share < 0.01
    assert advice_findings(plan) == ()


def test_a_walk_that_left_out_the_back_asks_for_the_back_first() -> None:
    cameras = walk(list(range(-90, 91, 20)))
    coverage = cover_surface(ball(), cameras, VOLUME)
    plan = plan_photos(coverage, ball(), cameras)
    first = plan.advice[0]
    assert first.bearing_rad == pytest.approx(np.pi)
    assert "from the back" in first.words()
    assert first.target_mm[1] > 100.0
    assert np.linalg.norm(first.camera_mm - first.target_mm) == pytest.approx(1200.0, rel=0.05)
    found = advice_findings(plan)[0]
    assert found.severity is Severity.WARNING
    assert found.number == pytest.approx(first.area_share, abs=1e-3)
    assert found.remedy.startswith("Take three more photos from the back")


def test_taking_the_advice_helps() -> None:
    """Photos taken where the plan says show at least nine tenths of what it promised."""
    cameras = walk(list(range(-90, 91, 20)))
    before = plan_photos(cover_surface(ball(), cameras, VOLUME), ball(), cameras)
    first = before.advice[0]
    across = np.cross(first.camera_mm - first.target_mm, [0.0, 0.0, 1.0])
    across *= 60.0 / np.linalg.norm(across)
    more = tuple(
        camera_at(f"more {k}", first.camera_mm + k * across, first.target_mm, lens=LENS)
        for k in range(first.photos_n)
    )
    after = plan_photos(cover_surface(ball(), cameras + more, VOLUME), ball(), cameras + more)
    assert before.wanting_share - after.wanting_share > 0.9 * first.area_share


def test_what_the_body_itself_hides_is_said_and_not_asked_for() -> None:
    """A sphere of half the radius inside another has a fifth of the area of both."""
    inner = ball().with_vertices((ball().vertices - HEIGHT) / 2 + HEIGHT)
    both = joined(ball(), inner)
    cameras = walk(list(range(0, 360, 20)), (-40.0, 10.0, 70.0))
    plan = plan_photos(cover_surface(both, cameras, VOLUME), both, cameras)
    assert plan.hidden_share == pytest.approx(0.2, abs=0.01)
    assert plan.advice == ()
    assert [finding.code for finding in advice_findings(plan)] == ["surface-hidden"]


def test_nobody_is_asked_to_hold_the_camera_under_the_floor_or_at_the_ceiling() -> None:
    cameras = walk([0.0, 10.0, 20.0], (0.0,))
    for height in (250.0, 1000.0, 1700.0):
        body = ball().with_vertices(ball().vertices + np.array([0.0, 0.0, height - 1000.0]))
        plan = plan_photos(cover_surface(body, cameras, VOLUME), body, cameras)
        assert plan.advice
        for one in plan.advice:
            assert 60.0 < one.camera_mm[2] < 2260.0
