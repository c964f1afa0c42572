"""Results are there whole or not at all, whatever moment the process is killed at."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fitkit.errors import FileError
from fitkit.job.whole_writes import (
    exchange_folder,
    has_leftovers,
    recover_folders,
    spare_folder,
    write_whole,
)

OLD = {"a.txt": b"old a", "deep/b.txt": b"old b" * 1000}
NEW = {"a.txt": b"new a", "c.txt": b"new c" * 1000}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.parametrize("moment", ["building", "built", "moved aside", "exchanged", "done"])
def test_a_kill_at_any_stage_leaves_the_old_result_or_the_new(tmp_path: Path, moment: str) -> None:
    exchange_folder(tmp_path, "body", OLD)
    code = f"""
import os, signal
from pathlib import Path
from fitkit.job.whole_writes import exchange_folder
def die(moment):
    if moment == {moment!r}:
        os.kill(os.getpid(), signal.SIGKILL)
exchange_folder(Path({str(tmp_path)!r}), "body", {NEW!r}, between=die)
"""
    assert subprocess.run([sys.executable, "-c", code]).returncode == -signal.SIGKILL
    recover_folders(tmp_path)
    wanted = OLD if moment in {"building", "built", "moved aside"} else NEW
    assert contents(tmp_path / "body") == wanted
    assert list((tmp_path / ".fitkit").iterdir()) == []
    assert not has_leftovers(tmp_path)


@pytest.mark.skipif(sys.platform == "win32", reason="needs kill")
def test_kills_at_random_moments_never_mix_two_results(tmp_path: Path) -> None:
    code = f"""
from pathlib import Path
from fitkit.job.whole_writes import exchange_folder, recover_folders
folder = Path({str(tmp_path)!r})
recover_folders(folder)
print("going", flush=True)
number = 0
while True:
    number += 1
    files = {{f"{{name}}.txt": str(number).encode() * 500 for name in range(12)}}
    exchange_folder(folder, "body", files)
"""
    exchange_folder(tmp_path, "body", {f"{name}.txt": b"0" for name in range(12)})
    randomly = random.Random(2)
    for _ in range(12):
        process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
        assert process.stdout is not None
        assert process.stdout.readline() == b"going\n"
        time.sleep(randomly.uniform(0.0, 0.05))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        recover_folders(tmp_path)
        found = contents(tmp_path / "body")
        assert len(found) == 12
        assert len(set(found.values())) == 1
        assert list((tmp_path / ".fitkit").iterdir()) == []


def test_a_failure_while_building_leaves_the_old_result(tmp_path: Path) -> None:
    exchange_folder(tmp_path, "body", OLD)
    with pytest.raises(FileError, match="cannot be written"):
        exchange_folder(tmp_path, "body", {"x" * 300: b"too long a name"})
    assert contents(tmp_path / "body") == OLD
    assert not has_leftovers(tmp_path)


def test_what_is_carried_over_is_in_the_new_folder(tmp_path: Path) -> None:
    exchange_folder(tmp_path, "body", OLD)
    (tmp_path / "body" / "notes.txt").write_bytes(b"mine")
    exchange_folder(tmp_path, "body", NEW, carried_over=("notes.txt",))
    assert contents(tmp_path / "body") == {**NEW, "notes.txt": b"mine"}


def test_a_file_is_replaced_whole_and_leaves_no_spare(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    write_whole(path, b"one")
    write_whole(path, b"two")
    assert path.read_bytes() == b"two"
    assert os.listdir(tmp_path) == ["job.toml"]
    with pytest.raises(FileError, match="cannot be written"):
        write_whole(tmp_path / "nowhere" / "x", b"")


def test_a_spare_folder_is_gone_after_its_block(tmp_path: Path) -> None:
    with spare_folder(tmp_path, "photos") as spare:
        (spare / "x").write_bytes(b"x")
        assert has_leftovers(tmp_path)
    assert not has_leftovers(tmp_path)
