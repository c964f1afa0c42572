"""The bench's own figures, on surfaces whose error is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.capture.camera import Camera
from fitkit.capture.scan import SolvedCameras
from fitkit.geometry.rigid import RigidTransform
from tests.bench.capture import Subject, scores
from tests.truth.camera_walk import camera_walk
from tests.truth.solids import ellipsoid

UP = np.array([0.0, 0.0, 1.0])
SHAPE = ellipsoid((150.0, 110.0, 240.0), 12.0)


def told() -> Subject:
    mesh = SHAPE.with_vertices(SHAPE.vertices + 1000.0 * UP)
    girth = ("waist", 1000.0 * UP, UP)
    return Subject((), camera_walk(rings=(0,)), mesh, (girth,), None, 1300.0)


def test_a_surface_only_moved_has_no_error() -> None:
    subject = told()
    near = RigidTransform(np.eye(3), np.array([30.0, -20.0, 5.0]))
    surface = subject.mesh.with_vertices(near.apply(subject.mesh.vertices))
    row = scores(subject, SolvedCameras(subject.cameras, (), 0.0, 0.0), surface)
    assert row["rms"] < 0.02
    assert row["within_2_mm"] == 1.0
    assert abs(row["girths"]["waist"]) < 0.05
    assert row["scale_percent"] == pytest.approx(0.0, abs=1e-9)


def test_a_surface_a_percent_too_large_is_told_as_such() -> None:
    """Nothing is scaled away: the girth is a percent long, and so is the walk."""
    subject = told()
    surface = subject.mesh.with_vertices(1.01 * subject.mesh.vertices)
    cameras = tuple(
        Camera(
            one.photo,
            one.lens,
            replace(
                one.camera_from_world,
                translation_mm=1.01 * one.camera_from_world.translation_mm,
            ),
        )
        for one in subject.cameras
    )
    row = scores(subject, SolvedCameras(cameras, (), 0.0, 0.0), surface)
    assert row["scale_percent"] == pytest.approx(1.0, abs=1e-6)
    assert row["girths"]["waist"] == pytest.approx(0.01 * 2 * np.pi * 131.0, rel=0.03)
    assert 0.5 < row["rms"] < 2.0
