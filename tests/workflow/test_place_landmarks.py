"""Landmarks and joints put right by hand: seen at once, kept in the job, and followed by the body.

The body is a round pillar; what is said of it is plain geometry.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.errors import InputError, JobError
from fitkit.geometry.mesh_files import write_mesh
from fitkit.job.body_files import FOUND_MARKS_FILE, body_files, read_body
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow import body_step
from fitkit.workflow.make_job import make_job
from fitkit.workflow.measure_job import measure_job
from fitkit.workflow.pick_place import Ray
from fitkit.workflow.place_landmarks import (
    mark_at,
    move_mark,
    place_mark,
    see_places,
    under_ray_mm,
)
from fitkit.workflow.start_job import start_job
from fitkit.workflow.step_edit import step_edit
from tests.patch.upright import form_of
from tests.truth.solids import cylinder

TALL_MM, RADIUS_MM = 400.0, 100.0
FRONT = Ray((0.0, -1000.0, 200.0), (0.0, 1.0, 0.0), 0.02)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a job whose body is a pillar with its navel in front, and a joint beside it."""
    start_job(tmp_path / "job")
    keep(tmp_path / "job", pillar())
    return tmp_path / "job"


def pillar() -> Body:
    return form_of(cylinder(RADIUS_MM, TALL_MM, 12.0), navel=(0.0, -RADIUS_MM, 200.0)).body


def keep(folder: Path, body: Body, **more: bytes) -> None:
    job = open_job(folder)
    with job.locked("test"):
        digests = FileDigests(folder)
        files = {**body_files(body), **more}
        job.keep_result("body", files, inputs=job.inputs("body", digests), digests=digests)


def place(folder: Path, name: str) -> tuple[float, ...]:
    places = see_places(folder)
    assert places is not None
    (mark,) = [mark for mark in places.landmarks if mark.name == name]
    return tuple(mark.at_mm.tolist())


def test_a_landmark_is_seen_where_it_is_put_and_goes_back_by_undo(folder: Path) -> None:
    before = (folder / "job.toml").read_bytes()
    place_mark(folder, "landmark", " navel ", (0.0, -140.0, 230.0))
    assert place(folder, "navel") == pytest.approx((0.0, -RADIUS_MM, 230.0), abs=0.2)
    places = see_places(folder)
    assert places is not None
    assert [mark.by_hand for mark in places.landmarks] == [True]
    place_mark(folder, "landmark", "scar", (RADIUS_MM, 0.0, 90.0))
    assert place(folder, "scar") == pytest.approx((RADIUS_MM, 0.0, 90.0), abs=0.2)
    place_mark(folder, "landmark", "navel", None)
    assert place(folder, "navel") == (0.0, -RADIUS_MM, 200.0)
    for _ in range(3):
        step_edit(folder, back=True)
    assert (folder / "job.toml").read_bytes() == before


@pytest.mark.parametrize("at", [(1.0, 2.0), (1.0, 2.0, float("nan"))])
def test_what_is_no_place_leaves_the_job_as_it_was(folder: Path, at: tuple[float, ...]) -> None:
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(InputError, match="three numbers"):
        place_mark(folder, "landmark", "navel", at)
    with pytest.raises(InputError, match="no name"):
        place_mark(folder, "landmark", "  ", (0.0, 0.0, 0.0))
    with pytest.raises(JobError, match="no joint called 'left knee'"):
        place_mark(folder, "joint", "left knee", (0.0, 0.0, 0.0))
    assert (folder / "job.toml").read_bytes() == before


def test_a_job_without_a_body_has_no_places(tmp_path: Path) -> None:
    start_job(tmp_path / "bare")
    assert see_places(tmp_path / "bare") is None
    with pytest.raises(JobError, match="no body"):
        place_mark(tmp_path / "bare", "landmark", "navel", (0.0, 0.0, 0.0))
    with pytest.raises(JobError, match="shows no landmark called 'navel'"):
        move_mark(tmp_path / "bare", "landmark", "navel", 2, 0.0)


def test_a_ray_means_the_landmark_in_front_and_drags_it_over_the_skin(folder: Path) -> None:
    places = see_places(folder)
    assert places is not None
    assert mark_at(places, "landmark", FRONT) == "navel"
    behind = Ray((0.0, 1000.0, 200.0), (0.0, -1.0, 0.0), 0.02)
    assert mark_at(places, "landmark", behind) is None, "the body hides it"
    put = under_ray_mm(places, "landmark", "navel", Ray((0.0, -1000.0, 260.0), (0.0, 2.0, 0.0)))
    assert put == pytest.approx([0.0, -RADIUS_MM, 260.0], abs=0.5)
    aside = Ray((400.0, -1000.0, 260.0), (0.0, 1.0, 0.0))
    assert under_ray_mm(places, "landmark", "navel", aside) is None


def test_a_landmark_put_on_a_reshaped_body_is_told_on_the_body_as_found(folder: Path) -> None:
    """Twice as wide, the reshaped skin's (200, 0, z) is the found one's (100, 0, z)."""
    found = pillar()
    wide = found.mesh.with_vertices(found.mesh.vertices * [2.0, 2.0, 1.0])
    reshaped = Body(wide, found.trust_mm, found.axes, found.landmarks)
    keep(folder, reshaped, **body_files(found, stem="body-as-found"))
    place_mark(folder, "landmark", "side", (2.0 * RADIUS_MM, 0.0, 150.0))
    told = open_job(folder).settings.body.landmarks["side"]
    assert told == pytest.approx((RADIUS_MM, 0.0, 150.0), abs=0.3)
    assert place(folder, "side") == pytest.approx((2.0 * RADIUS_MM, 0.0, 150.0), abs=0.6)


def test_the_body_follows_a_landmark_without_being_found_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "column"
    start_job(folder)
    write_mesh(folder / "column.ply", cylinder(120, 500, 25))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    told = '[body]\nfrom_mesh = "column.ply"\nmesh_unit = "mm"\n'
    (folder / "job.toml").write_text(text.replace("[body]\n", told), encoding="utf-8")
    make_job(folder, until="body")
    as_found = read_body(folder / "body")
    first = (folder / "body" / "body.ply").read_bytes()
    place_mark(folder, "landmark", "scar", (120.0, 0.0, 300.0))

    def never(*_: object) -> Body:
        raise AssertionError("found again")

    monkeypatch.setattr(body_step, "found_body", never)
    (report,) = make_job(folder, until="body")
    assert report.ran
    moved = read_body(folder / "body")
    assert moved.landmark("scar").at_mm == pytest.approx([120.0, 0.0, 300.0], abs=1.0)
    assert [finding.code for finding in report.findings].count("landmark-by-hand") == 1
    assert (folder / "body" / "body.ply").read_bytes() == first
    assert (folder / "body" / FOUND_MARKS_FILE).is_file()
    assert "scar" in measure_job(folder).landmarks

    place_mark(folder, "landmark", "scar", (-120.0, 0.0, 300.0))
    make_job(folder, until="body")
    moved = read_body(folder / "body")
    assert moved.landmark("scar").at_mm == pytest.approx([-120.0, 0.0, 300.0], abs=1.0)
    place_mark(folder, "landmark", "scar", None)
    (report,) = make_job(folder, until="body")
    back = read_body(folder / "body")
    assert back.landmarks.keys() == as_found.landmarks.keys()
    assert back.findings == as_found.findings
    assert not (folder / "body" / FOUND_MARKS_FILE).exists()
    np.testing.assert_array_equal(back.mesh.vertices, as_found.mesh.vertices)
