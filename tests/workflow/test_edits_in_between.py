"""What another edit kept just before a job is held stays, whichever edit comes after it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from fitkit.job.job_folder import open_job
from fitkit.job.job_lock import job_lock
from fitkit.workflow.cut_job import take_out_cuts
from fitkit.workflow.edit_job import (
    add_row,
    add_rows,
    change_line,
    change_row,
    extend_line,
    remove_row,
    rename_row,
)
from fitkit.workflow.edit_settings import change_tape
from fitkit.workflow.edit_stock import add_offcuts, add_stock, remove_stock
from fitkit.workflow.nest_job import nest_job, pin_part, release_part
from fitkit.workflow.pad_patch import pad_patch
from fitkit.workflow.trace_job import keep_corrections
from tests.workflow.quick_steps import JOB, job_folder

pytestmark = pytest.mark.usefixtures("calls")

_LINED = """
[[line]]
name = "side"
kind = "geodesic"
points = [{ height_mm = 0.2, bearing_deg = 60 }, { height_mm = 0.6, bearing_deg = 60 }]
"""
_STOCK = """
[nest]
seconds = 0
offcut_mm = 40

[[stock]]
name = "card"
material = "card"
thickness_mm = 0.5
size_mm = [300, 100]
"""
_PINNED = """
[[pinned]]
part = "belt"
sheet = "card"
at_mm = [100, 20]
"""
_OTHER = '\n[[hardware]]\nname = "buckle"\n'
_PLACE = {"height_mm": 0.7, "bearing_deg": 60}
_SHEET = {"material": "card", "thickness_mm": 0.5, "size_mm": [200.0, 100.0]}
_LINE = {"name": "top", "kind": "level", "height_mm": 0.9}

Edit = Callable[[Path], Any]
EDITS: dict[str, Edit] = {
    "add_row": lambda folder: add_row(folder, "line", _LINE),
    "add_rows": lambda folder: add_rows(folder, "line", [_LINE]),
    "change_row": lambda folder: change_row(folder, "line", "waist", {"height_mm": 0.4}),
    "change_line": lambda folder: change_line(folder, "side", {}, moved={2: _PLACE}),
    "extend_line": lambda folder: extend_line(folder, "side", _PLACE),
    "rename_row": lambda folder: rename_row(folder, "line", "waist", "middle"),
    "remove_row": lambda folder: remove_row(folder, "line", "side"),
    "take_out_cuts": lambda folder: take_out_cuts(folder, "belt"),
    "change_tape": lambda folder: change_tape(folder, "chest", "98 cm"),
    "add_stock": lambda folder: add_stock(folder, _SHEET),
    "remove_stock": lambda folder: remove_stock(folder, "card"),
    "pin_part": lambda folder: pin_part(folder, "belt", sheet="card", at_mm=(120.0, 20.0)),
    "release_part": lambda folder: release_part(folder, "belt"),
    "add_offcuts": lambda folder: add_offcuts(folder, folder.parent / "other"),
    "pad_patch": lambda folder: pad_patch(folder, "belt", 4.0),
    "keep_corrections": lambda folder: keep_corrections(folder, []),
}


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_both_edits_are_in_the_job(
    edit: Edit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    laid = edit in (EDITS["pin_part"], EDITS["add_offcuts"])
    more = "" if laid else _LINED + _PINNED * (edit is EDITS["release_part"])
    folder = job_folder(tmp_path / "job", text=JOB + _STOCK + more)
    if laid:
        nest_job(folder)
        nest_job(job_folder(tmp_path / "other", text=JOB + _STOCK))
    before = (folder / "job.toml").read_text(encoding="utf-8")

    @contextmanager
    def late(held: Path, *, doing: str) -> Iterator[None]:
        with job_lock(held, doing=doing):
            if "[[hardware]]" not in (text := (held / "job.toml").read_text(encoding="utf-8")):
                with open(held / "job.toml", "w", encoding="utf-8") as file:
                    file.write(text + _OTHER)
            yield

    monkeypatch.setattr("fitkit.job.job_folder.job_lock", late)
    edit(folder)
    after = open_job(folder)
    assert [row.name for row in after.settings.hardware] == ["buckle"]
    if edit not in (EDITS["keep_corrections"], EDITS["take_out_cuts"]):  # no words to change
        assert after.text.replace(_OTHER, "\n").split() != before.split()
