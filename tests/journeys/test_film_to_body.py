"""A film of the walk goes the whole way to a body whose girths are known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.body.tape_measure import girth_at_mm
from fitkit.geometry.mesh_files import read_mesh
from fitkit.job.scan_files import read_solved_cameras
from fitkit.workflow.scan_job import scan_job
from fitkit.workflow.start_job import start_job
from tests.truth.film_walk import LOWERED_MM, film_of_walk
from tests.truth.mannequin import GIRTHS
from tests.truth.rigid_fit import fit_rigidly, spread_points


@pytest.mark.slow
def test_a_film_gives_a_body_within_the_limits_for_scans(tmp_path: Path) -> None:
    """ISO 20685-1:2018 allows 9 mm for large and 4 mm for small circumferences.

    A pixel is 3.5 mm of the body here, so the armpits are spanned and the chest is not taped.
    """
    truth = film_of_walk(tmp_path / "walk.mp4")
    job = tmp_path / "job"
    start_job(job, name="Film")
    scan_job(job, [tmp_path / "walk.mp4"])
    used = [camera.photo for camera in read_solved_cameras(job / "scan").cameras]
    assert len(used) >= 20
    # Every second frame is shaken; beside each lies a sharp one of the same place.
    assert all(int(name.rsplit(" ", 1)[1]) % 2 == 0 for name in used)
    body = read_mesh(job / "body" / "body.ply")
    pose = fit_rigidly(spread_points(body, 20_000), truth)
    placed = body.with_vertices(pose.apply(body.vertices))
    for name, limit_mm in (("neck", 4.0), ("waist", 9.0), ("hip", 9.0)):
        point, across = GIRTHS[name]
        point = point - np.array([0.0, 0.0, LOWERED_MM])
        off = girth_at_mm(placed, point, across) - girth_at_mm(truth, point, across)
        assert abs(off) < limit_mm, name
