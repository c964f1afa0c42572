"""Taking up a choice of relief cuts: what ``job.toml`` says afterwards."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import InputError, JobError
from fitkit.flatten.cut_choice import CutChoice
from fitkit.job.cut_choice_files import choices_name, cut_choice_file, read_cut_choices
from fitkit.job.job_folder import open_job
from fitkit.workflow import make_job
from fitkit.workflow.cut_job import adopt_choice, advised_choices, take_out_cuts
from tests.workflow.quick_steps import job_folder

PIECE = np.array([[0.0, 0], [80, 0], [80, 60], [0, 60]])
ONE = CutChoice("one piece", 0.11, 2, 0.0, 0.0, (), (PIECE,))
CUTS = CutChoice(
    "cuts",
    0.02,
    0,
    61.0,
    0.0,
    (np.array([[10.0, 0, 0], [10, 0, 30]]), np.array([[50.0, 0, 60], [50, 0, 29]])),
    (PIECE,),
)
SPLIT = CutChoice(
    "split",
    0.04,
    1,
    80.0,
    0.0,
    (np.array([[0.0, 0, 25], [40, 0, 25], [80, 0, 25]]),),
    (PIECE[:3], PIECE[1:]),
)


pytestmark = pytest.mark.usefixtures("calls")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = job_folder(tmp_path / "job")
    make_job(folder, until="blanks")
    name = choices_name("plate")
    (folder / "blanks" / name).write_bytes(cut_choice_file((ONE, SPLIT, CUTS)))
    return folder


def test_choices_come_back_from_their_file(job: Path) -> None:
    one, split, cuts = read_cut_choices(job / "blanks", "plate")
    assert [c.name for c in (one, split, cuts)] == ["one piece", "split in two", "2 cuts"]
    assert one.in_words() == "one piece: 11.0 %, 2 anneals"
    assert cuts.lines_mm[1].tolist() == CUTS.lines_mm[1].tolist()
    assert advised_choices(job)["plate"][2].strain == 0.02


def test_cuts_are_written_as_places_and_all_else_stays(job: Path) -> None:
    before = (job / "job.toml").read_text(encoding="utf-8")
    adopt_choice(job, "plate", 3)
    after = (job / "job.toml").read_text(encoding="utf-8")
    added = [line for line in after.splitlines() if line not in before.splitlines()]
    assert added == [
        "cuts = [",
        "    {edge = {xyz_mm = [10.0, 0.0, 0.0]}, tip = {xyz_mm = [10.0, 0.0, 30.0]}},",
        "    {edge = {xyz_mm = [50.0, 0.0, 60.0]}, tip = {xyz_mm = [50.0, 0.0, 29.0]}},",
        "]",
    ]
    assert len(open_job(job).settings.patch[0].cuts) == 2
    assert open_job(job).state("patches").state == "fresh", "only the blanks are made from cuts"
    assert open_job(job).state("blanks").state == "stale"
    take_out_cuts(job, "plate")
    assert (job / "job.toml").read_text(encoding="utf-8") == before
    adopt_choice(job, "plate", 1)
    assert (job / "job.toml").read_text(encoding="utf-8") == before, "one piece is no cuts"


def test_what_cannot_be_taken_up_is_told(job: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no choice 4"):
        adopt_choice(job, "plate", 4)
    with pytest.raises(InputError, match="no patch called 'plaet'"):
        adopt_choice(job, "plaet", 1)
    with pytest.raises(JobError, match="laid flat"):
        advised_choices(job_folder(tmp_path / "other"))
