"""Where the maker's cuts and places without cuts lie on a patch."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.body.body import Body, SegmentAxis
from fitkit.errors import JobError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.surface_path import SurfacePath
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import open_job
from fitkit.job.patch_files import tape_line_files
from fitkit.job.settings_text import read_settings
from fitkit.patch.design import CutDesign, HeightAnchor, KeepOut, LineAnchor, PointAnchor
from fitkit.patch.tape_line import TapeLine
from fitkit.workflow import start_job
from fitkit.workflow.place_cuts import keep_out_places, placed_cuts
from tests.truth import solids
from tests.workflow.quick_steps import JOB

PANEL = solids.cylinder_panel(100.0, 1.6, 200.0, 5.0)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Make a job whose body is a column and whose one line runs up the panel's front."""
    start_job(tmp_path / "job", wearer="Robin")
    column = solids.cylinder(100.0, 200.0, 10.0)
    axis = SegmentAxis("trunk", np.array([0.0, 0.0, 200.0]), np.zeros(3))
    body = tmp_path / "job" / "body"
    body.mkdir(exist_ok=True)
    trust = np.zeros(len(column.vertices))
    for name, content in body_files(Body(column, trust, {"trunk": axis})).items():
        (body / name).write_bytes(content)
    patches = tmp_path / "job" / "patches"
    patches.mkdir(exist_ok=True)
    front = np.array([[0.0, -100.0, 0.0], [0.0, -100.0, 200.0]])
    line = TapeLine("front", SurfacePath(front, np.array([0])))
    (patches / "form-lines.json").write_bytes(tape_line_files([line]))
    return tmp_path / "job"


def placed(folder: Path, cut: CutDesign) -> tuple[Floats, Floats]:
    patch = solids.patch_of(PANEL, cuts=(cut,))
    (found,) = placed_cuts(open_job(folder), patch)
    return found.edge_mm, found.tip_mm


def test_by_points_heights_and_places_on_lines(folder: Path) -> None:
    tip = PointAnchor(0.0, -120.0, 60.0)
    edge, end = placed(folder, CutDesign(PointAnchor(0.0, -100.0, -30.0), tip))
    assert edge == pytest.approx([0.0, -100.0, 0.0], abs=0.1)
    assert end == pytest.approx([0.0, -100.0, 60.0], abs=0.1)
    edge, _ = placed(folder, CutDesign(HeightAnchor(5.0, 0.3), tip))
    assert edge == pytest.approx([100 * np.sin(0.3), -100 * np.cos(0.3), 5.0], abs=0.1)
    edge, _ = placed(folder, CutDesign(LineAnchor("front", along=1.0), tip))
    assert edge == pytest.approx([0.0, -100.0, 200.0], abs=0.1)
    # A line that says no more: the place nearest to the cut's other end.
    edge, _ = placed(folder, CutDesign(LineAnchor("front"), PointAnchor(40.0, -92.0, 70.0)))
    assert edge == pytest.approx([0.0, -100.0, 70.0], abs=0.1)


def test_places_without_cuts(folder: Path) -> None:
    places = ("front", KeepOut(HeightAnchor(100.0, 0.0), 25.0))
    patch = solids.patch_of(PANEL, no_cuts=places)
    ((middle, radius),) = keep_out_places(open_job(folder), patch)
    assert radius == 25.0
    assert middle == pytest.approx([0.0, -100.0, 100.0], abs=0.1)


def test_words_of_cuts_are_checked() -> None:
    good = (
        'cuts = [{edge = {line = "waist"}, tip = {xyz_mm = [1, 2, 3]}}]\n'
        'no_cuts = ["waist", {at = {height_mm = 2, bearing_deg = 0}, within_mm = "4 cm"}]\n'
        "cut_to_pct = 2\nstop_hole_mm = 4\n"
    )
    (patch, _) = read_settings(JOB.replace("pair = true\n", f"pair = true\n{good}")).patch
    assert patch.cuts[0].edge.line == "waist"
    keep_out = patch.no_cuts[1]
    assert not isinstance(keep_out, str)
    assert keep_out.within_mm == 40.0
    for wrong, said in (
        (good.replace('line = "waist"', 'line = "waits"'), "Did you mean 'waist'?"),
        (good.replace('["waist"', '["wrist"'), "no tape line 'wrist'"),
        (good.replace("tip =", "tipp ="), "tip"),
        (good.replace("cut_to_pct = 2", "cut_to_pct = 90"), "less than or equal to 60"),
    ):
        with pytest.raises(JobError) as caught:
            read_settings(JOB.replace("pair = true\n", f"pair = true\n{wrong}"))
        assert said in f"{caught.value.cause} {caught.value.remedy}"
