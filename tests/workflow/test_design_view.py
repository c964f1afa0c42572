"""The design as geometry: only what changed is made anew, and what cannot be laid says why."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitkit.errors import DesignError, JobError
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.design_view import (
    LinesView,
    line_places_mm,
    place_mm,
    redrawn_lines,
    region_at,
    view_lines,
    view_patches,
)
from fitkit.workflow.edit_job import add_row, anchor_values, change_line, change_row
from fitkit.workflow.form_ghost import form_ghost, same_form
from tests.patch.upright import cylinder_form

TEXT = """\
format = 1

[job]
name = "Heron"

[form]
clearance_mm = 10

[[line]]
name = "low"
kind = "level"
height_mm = 100

[[line]]
name = "high"
kind = "level"
height_mm = 300

[[line]]
name = "right"
kind = "geodesic"
points = [{height_mm = 80, bearing_deg = 330}, {height_mm = 320, bearing_deg = 330}]

[[line]]
name = "left"
kind = "mirrored"
of = "right"

[[patch]]
name = "belly"
lines = ["low", "high", "right", "left"]
inside = {height_mm = 200, bearing_deg = 0}
"""
RADIUS_MM = 100.0


@pytest.fixture(scope="module")
def form() -> Any:
    return cylinder_form(RADIUS_MM)


@pytest.fixture
def folder(tmp_path: Path, form: Any) -> Path:
    (tmp_path / "job.toml").write_text(TEXT, encoding="utf-8")
    job = open_job(tmp_path)
    with job.locked("test"):
        job.keep_result("body", body_files(form.body), inputs={}, digests=FileDigests(tmp_path))
    return tmp_path


def viewed(folder: Path, before: LinesView | None = None) -> LinesView:
    return view_lines(open_job(folder), before=before)


def path_of(view: LinesView, name: str) -> Any:
    return next(line.path for line in view.drawn.lines if line.name == name)


def at(view: LinesView, bearing_deg: float, height_mm: float) -> SurfacePoint:
    turn = np.radians(bearing_deg)
    wanted = np.array([[RADIUS_MM * np.sin(turn), -RADIUS_MM * np.cos(turn), height_mm]])
    points, faces, _ = nearest_on_mesh(view.drawn.form.mesh, wanted)
    return SurfacePoint(points[0], int(faces[0]))


def test_lines_that_did_not_change_are_the_same_values(folder: Path) -> None:
    before = viewed(folder)
    assert viewed(folder, before) is before
    change_line(folder, "right", {}, moved={2: {"height_mm": 320, "bearing_deg": 340}})
    after = viewed(folder, before)
    same = {name: path_of(after, name) is path_of(before, name) for name in ("low", "high")}
    assert same == {"low": True, "high": True}
    for name, end_x in (("right", -34.2), ("left", 34.2)):  # 100 sin 20 degrees
        assert path_of(after, name) is not path_of(before, name)
        assert path_of(after, name).points_mm[-1][0] == pytest.approx(end_x, abs=0.5)


def test_a_patch_has_the_area_of_its_piece_of_the_cylinder(folder: Path) -> None:
    """A sixth of the round, 200 mm high; the mesh's own flats cost half a percent."""
    patches = view_patches(viewed(folder))
    (belly,) = patches.patches
    assert belly.mesh is not None
    assert belly.mesh.area_mm2() == pytest.approx(2 * np.pi * RADIUS_MM / 6 * 200, rel=0.006)
    assert set(belly.edges) == {"low", "high", "right", "left"}
    assert belly.label_faces is not None
    assert belly.label_faces[1] < -0.8  # it faces the front
    assert patches.patch_at(at(patches.lines, 0, 150)) is belly
    assert patches.patch_at(at(patches.lines, 90, 150)) is None


def test_the_other_of_a_pair_lies_on_the_other_side(folder: Path) -> None:
    change_line(folder, "right", {}, moved={1: {"height_mm": 80, "bearing_deg": 250}})
    change_line(folder, "right", {}, moved={2: {"height_mm": 320, "bearing_deg": 250}})
    for name, bearing_deg in (("edge", 310), ("across", 30)):
        places = [{"height_mm": z, "bearing_deg": bearing_deg} for z in (80, 320)]
        add_row(folder, "line", {"name": name, "kind": "geodesic", "points": places})
    told = {"lines": ["low", "high", "right", "edge"], "side": "right", "pair": True}
    change_row(folder, "patch", "belly", told | {"inside": anchor_values("200@280")})
    before = view_patches(viewed(folder))
    (plate,) = before.patches
    assert plate.mesh is not None
    assert plate.twin is not None
    assert plate.twin.area_mm2() == pytest.approx(plate.mesh.area_mm2(), rel=0.01)
    low, high = plate.mesh.bounds_mm()[:, 0]
    np.testing.assert_allclose(plate.twin.bounds_mm()[:, 0], [-high, -low], atol=0.5)
    lines = before.lines
    assert before.patch_at(at(lines, 80, 200)) is None
    assert before.pair_at(at(lines, 80, 200)) is plate
    assert before.pair_at(at(lines, 0, 200)) is None
    assert view_patches(lines, before=before).patches[0].twin is plate.twin
    change_row(folder, "patch", "belly", {}, without=["pair"])
    (single,) = view_patches(viewed(folder, lines), before=before).patches
    assert single.mesh is plate.mesh
    assert single.twin is None


def test_a_patch_that_a_new_line_does_not_touch_keeps_its_mesh(folder: Path) -> None:
    lines = viewed(folder)
    before = view_patches(lines)
    add_row(folder, "line", {"name": "top", "kind": "level", "height_mm": 380})
    after = view_patches(viewed(folder, lines), before=before)
    assert after.patches[0].mesh is before.patches[0].mesh
    change_line(folder, "low", {"height_mm": 150})
    moved = view_patches(viewed(folder, after.lines), before=after)
    assert moved.patches[0].mesh is not before.patches[0].mesh


def test_one_line_that_cannot_be_laid_leaves_the_others(folder: Path) -> None:
    text = TEXT.replace("height_mm = 320, bearing_deg = 330", "height_mm = 900, bearing_deg = 330")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    lines = viewed(folder)
    assert [line.name for line in lines.drawn.lines] == ["low", "high"]
    assert set(lines.faults) == {"right", "left"}
    assert "900" in lines.faults["right"].cause
    (belly,) = view_patches(lines).patches
    assert belly.mesh is None
    assert belly.fault is not None
    assert "'right'" in belly.fault.cause


def test_a_trial_leaves_the_job_and_lays_what_leans_on_it(folder: Path) -> None:
    lines = viewed(folder)
    text = (folder / "job.toml").read_bytes()
    places = [{"height_mm": 80, "bearing_deg": 300}, {"height_mm": 320, "bearing_deg": 300}]
    tried = redrawn_lines(lines, [{"name": "right", "kind": "geodesic", "points": places}])
    assert path_of(tried, "left").points_mm[0][0] == pytest.approx(86.6, abs=0.5)
    assert path_of(tried, "low") is path_of(lines, "low")
    assert (folder / "job.toml").read_bytes() == text
    with pytest.raises(DesignError, match="outside the trunk"):
        redrawn_lines(lines, [{"name": "high", "kind": "level", "height_mm": 900}])
    with pytest.raises(JobError, match="not told in full"):
        redrawn_lines(lines, [{"name": "high", "kind": "level"}])


def test_places_of_lines_are_found(folder: Path) -> None:
    lines = viewed(folder)
    first, second = line_places_mm(lines, "right")
    np.testing.assert_allclose(first, [-50.0, -86.6, 80.0], atol=0.6)
    assert second[2] == pytest.approx(320.0, abs=0.1)
    assert line_places_mm(lines, "low") == ()
    on_high = place_mm(lines, {"line": "high", "along": 0.25})
    assert on_high[2] == pytest.approx(300.0)
    with pytest.raises(JobError, match="not a place"):
        place_mm(lines, {"height_mm": 100})


def test_a_region_is_what_lines_run_round(folder: Path) -> None:
    patches = view_patches(viewed(folder))
    region = region_at(patches, at(patches.lines, 180, 200))
    assert set(region.row["lines"]) == {"low", "high", "right", "left"}
    assert region.mesh.area_mm2() == pytest.approx(2 * np.pi * RADIUS_MM * 5 / 6 * 200, rel=0.006)
    with pytest.raises(DesignError, match="'belly' is there already"):
        region_at(patches, at(patches.lines, 0, 200))
    with pytest.raises(DesignError, match="lies on its boundary line"):
        region_at(patches, at(patches.lines, 90, 300))


def test_no_region_without_lines(folder: Path) -> None:
    (folder / "job.toml").write_text('format = 1\n[job]\nname = "Heron"\n', encoding="utf-8")
    patches = view_patches(viewed(folder))
    with pytest.raises(DesignError, match="No lines run round"):
        region_at(patches, at(patches.lines, 0, 200))


def test_the_ghost_is_the_form_at_the_clearance(folder: Path) -> None:
    job = open_job(folder)
    ghost = form_ghost(job)
    off = np.hypot(*ghost.mesh.vertices[:, :2].T)
    wall = np.abs(ghost.mesh.vertices[:, 2] - 200) < 100
    np.testing.assert_allclose(off[wall], RADIUS_MM + 10.0, atol=1.0)
    assert not ghost.made
    assert same_form(ghost, job, None)
    assert not same_form(ghost, job, "belly")
    assert form_ghost(job, "belly").words == "10 mm over the skin, sheet 0.5 mm"
