"""Stale, changed and fresh results are told apart, with the reason."""

from __future__ import annotations

import hashlib
import os
import shlex
from pathlib import Path

import numpy as np
import pytest

from fitkit.findings import THIS_JOB, Finding, Severity
from fitkit.job.made_from import RECORD, FileDigests, MadeFrom, digest_of_value, state_of_step

INPUTS = {"[capture]": "1", "photos/a.jpg": "2"}
FINDING = Finding("x", Severity.WARNING, "a.jpg", "Blurred.", number=float("1.5"), unit="px")


def kept(folder: Path) -> MadeFrom:
    folder.mkdir()
    (folder / "body.ply").write_bytes(b"ply")
    (folder / "body.png").write_bytes(b"png")
    record = MadeFrom(
        "body",
        INPUTS,
        {
            name: (3, hashlib.sha256(content).hexdigest())
            for name, content in (("body.ply", b"ply"), ("body.png", b"png"))
        },
        (FINDING,),
        1.25,
    )
    (folder / RECORD).write_bytes(record.as_bytes())
    return record


def test_the_record_reads_back(tmp_path: Path) -> None:
    record = kept(tmp_path / "body")
    assert MadeFrom.read(tmp_path / "body") == record
    assert MadeFrom.read(tmp_path) is None
    (tmp_path / "body" / RECORD).write_text("{")
    assert MadeFrom.read(tmp_path / "body") is None


def test_numpy_numbers_in_findings_are_kept(tmp_path: Path) -> None:
    finding = Finding("x", Severity.NOTE, "", "", number=np.float32(0.5))
    (tmp_path / RECORD).write_bytes(MadeFrom("body", {}, {}, (finding,)).as_bytes())
    read = MadeFrom.read(tmp_path)
    assert read is not None
    assert read.findings[0].number == 0.5


def test_states_and_their_reasons(tmp_path: Path) -> None:
    folder, digests = tmp_path / "body", FileDigests(tmp_path)
    assert state_of_step("body", folder, INPUTS, digests).state == "missing"
    kept(folder)
    assert state_of_step("body", folder, INPUTS, digests).state == "fresh"
    later = {"[capture]": "9", "photos/b.jpg": "3"}
    state = state_of_step("body", folder, later, digests)
    assert state.state == "stale"
    assert state.reasons == (
        "photos/b.jpg is new",
        "photos/a.jpg is gone",
        "[capture] changed",
    )
    (folder / "body.png").unlink()
    (folder / "body.ply").write_bytes(b"mine")
    state = state_of_step("body", folder, INPUTS, digests)
    assert state.state == "changed"
    assert state.reasons == ("body.png was deleted", "body.ply was changed by hand")
    assert state.edited == ("body.ply",)


def test_an_edit_of_the_same_size_is_seen(tmp_path: Path) -> None:
    kept(tmp_path / "body")
    digests = FileDigests(tmp_path)
    assert state_of_step("body", tmp_path / "body", INPUTS, digests).state == "fresh"
    (tmp_path / "body" / "body.ply").write_bytes(b"plz")
    assert state_of_step("body", tmp_path / "body", INPUTS, digests).state == "changed"


def test_a_copied_job_whose_times_changed_is_still_fresh(tmp_path: Path) -> None:
    kept(tmp_path / "body")
    for path in (tmp_path / "body").iterdir():
        os.utime(path, (1, 1))
    state = state_of_step("body", tmp_path / "body", INPUTS, FileDigests(tmp_path))
    assert state.state == "fresh"


def test_pictures_do_not_make_later_steps_stale(tmp_path: Path) -> None:
    record = kept(tmp_path / "body")
    other = {**record.files, "body.png": (4, "other")}
    assert MadeFrom("body", INPUTS, other).result_digest() == record.result_digest()
    other = {**record.files, "body.ply": (4, "other")}
    assert MadeFrom("body", INPUTS, other).result_digest() != record.result_digest()


def test_digests_are_remembered_and_seen_through_a_change(tmp_path: Path) -> None:
    """SHA-256 of "abc": FIPS 180-4 example, appendix B.1 of FIPS 180-2."""
    path = tmp_path / "a.jpg"
    path.write_bytes(b"abc")
    digests = FileDigests(tmp_path)
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digests.digest(path) == expected
    digests.path.parent.mkdir()
    digests.path.write_bytes(digests.as_bytes())
    assert FileDigests(tmp_path).digest(path) == expected
    path.write_bytes(b"abd")
    assert FileDigests(tmp_path).digest(path) != expected
    digests.path.write_text("broken")
    assert FileDigests(tmp_path).digest(path) != expected


def test_the_order_of_names_does_not_change_a_digest() -> None:
    assert digest_of_value({"a": 1, "b": 2}) == digest_of_value({"b": 2, "a": 1})
    assert digest_of_value({"a": 1}) != digest_of_value({"a": 2})


def test_the_job_is_called_in_a_remedy_as_its_folder_is_when_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    finding = Finding("x", Severity.NOTE, "", "", f"Run: fitkit make {THIS_JOB}")
    (tmp_path / "job" / "body").mkdir(parents=True)
    (tmp_path / "job" / "body" / RECORD).write_bytes(
        MadeFrom("body", {}, {}, (finding,)).as_bytes()
    )
    (tmp_path / "job").rename(tmp_path / "Robin's job")
    read = MadeFrom.read(Path("Robin's job") / "body")
    assert read is not None
    assert read.findings[0].remedy == "Run: fitkit make " + shlex.quote("Robin's job")
