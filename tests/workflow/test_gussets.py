"""A soft piece between two sleeves gets its fullness where the elbow opens the gap."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import JobError
from fitkit.geometry.arrays import Floats
from fitkit.job.job_folder import open_job
from fitkit.motion.gap_sweep import swept_widths_mm
from fitkit.workflow.moving_body import MovingBody, moving_body
from tests.workflow.elbow_job import TEXT, elbow_job

GUSSET = """
[[gusset]]
name = "elbow"
between = ["upper-arm sleeve", "forearm sleeve"]
at = {xyz_mm = [0, 50, 300]}
"""


@pytest.fixture(scope="module")
def elbow(tmp_path_factory: pytest.TempPathFactory) -> MovingBody:
    return moving_body(elbow_job(tmp_path_factory.mktemp("elbow")))


def rows_at(turn_deg: float) -> Floats:
    """Return a row over the gap from 325 down to 275 mm on the sleeves' tube, radius 47 mm."""
    turn = np.radians(turn_deg)
    z = np.linspace(325.0, 275.0, 9)
    x, y = 47.0 * np.sin(turn), -47.0 * np.cos(turn)
    return np.stack([np.full(9, x), np.full(9, y), z], axis=1)[None]


def swept(elbow: MovingBody, turn_deg: float) -> float:
    upper, fore = elbow.plates
    return float(swept_widths_mm(rows_at(turn_deg), upper, fore, elbow.skin, elbow.ranges)[0])


def test_the_outside_of_the_elbow_opens_by_more_than_its_chord(elbow: MovingBody) -> None:
    """Bent by 110 degrees about a hinge amid the arm, edges 25 mm from it at 47 mm (closed form).

    The chord is 2 (25 cos 55 + 47 sin 55); a band over the elbow is longer, and no longer than
    the gap at rest and the arc of the outermost skin and clearance, 50 + 47 * 110 degrees, but for
    2 mm of the skin's own triangles.
    """
    half = np.radians(55.0)
    chord = 2.0 * (25.0 * np.cos(half) + 47.0 * np.sin(half))
    outside = swept(elbow, 180.0)
    assert chord - 1.0 < outside < 52.0 + 47.0 * 2.0 * half
    # In the crook and at the hinge's own ends nothing opens.
    assert swept(elbow, 0.0) == pytest.approx(50.0, abs=1.0)
    assert swept(elbow, 90.0) == pytest.approx(50.0, abs=3.0)


def test_rows_are_told_wrong_by_name(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(TEXT + GUSSET, encoding="utf-8")
    assert open_job(tmp_path).settings.gusset[0].between == ("upper-arm sleeve", "forearm sleeve")
    for wrong, said in (
        (GUSSET.replace("forearm", "forarm"), "no patch 'forarm sleeve'"),
        (GUSSET.replace("xyz_mm = [0, 50, 300]", 'line = "upper end"'), "amid the gap"),
        (GUSSET + "seem_mm = 3\n", "Did you mean 'seam_mm'?"),
    ):
        (tmp_path / "job.toml").write_text(TEXT + wrong, encoding="utf-8")
        with pytest.raises(JobError) as caught:
            open_job(tmp_path)
        assert said in f"{caught.value.cause} {caught.value.remedy}"
