"""One process at a time; a dead one does not stand in the way."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from fitkit.errors import JobBusyError
from fitkit.job.job_lock import LOCK_FILE, job_lock, patience

HOLD = """
import sys, time
from pathlib import Path
from fitkit.job.job_lock import job_lock
with job_lock(Path(sys.argv[1]), doing="make"):
    print("held", flush=True)
    time.sleep(60)
"""


def holder(folder: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def end(process: subprocess.Popen[str]) -> None:
    process.kill()
    process.wait()
    assert process.stdout is not None
    process.stdout.close()


def test_the_second_is_told_who_is_at_work_and_since_when(tmp_path: Path) -> None:
    process = holder(tmp_path)
    try:
        since = json.loads((tmp_path / LOCK_FILE).read_text())["since"]
        with pytest.raises(JobBusyError) as caught, job_lock(tmp_path, doing="scan"):
            pass
        assert f"Process {process.pid} (make)" in caught.value.cause
        assert since in caught.value.cause
    finally:
        end(process)


def test_a_killed_process_lets_go(tmp_path: Path) -> None:
    process = holder(tmp_path)
    os.kill(process.pid, signal.SIGKILL)
    end(process)
    assert (tmp_path / LOCK_FILE).exists()  # it could not clear up
    with job_lock(tmp_path, doing="make"):
        assert json.loads((tmp_path / LOCK_FILE).read_text())["pid"] == os.getpid()
    assert not (tmp_path / LOCK_FILE).exists()


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_an_orphaned_worker_of_a_dead_process_does_not_hold_the_job(tmp_path: Path) -> None:
    code = HOLD.replace(
        'print("held", flush=True)',
        "import os\n    if os.fork() == 0:\n        print(os.getpid(), flush=True)\n"
        "        time.sleep(60)\n        os._exit(0)",
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    worker = int(process.stdout.readline())
    end(process)
    try:
        os.kill(worker, 0)  # the worker is alive and has the locked file open
        with job_lock(tmp_path, doing="make"):
            assert json.loads((tmp_path / LOCK_FILE).read_text())["pid"] == os.getpid()
    finally:
        os.kill(worker, signal.SIGKILL)


def test_whoever_is_patient_gets_the_job_once_it_is_free(tmp_path: Path) -> None:
    process = holder(tmp_path)
    waited: list[str] = []

    def waits() -> None:
        waited.append("waits")
        end(process)

    with patience(60.0, waits), job_lock(tmp_path, doing="make"):
        assert json.loads((tmp_path / LOCK_FILE).read_text())["pid"] == os.getpid()
    assert waited == ["waits"]


def test_patience_ends(tmp_path: Path) -> None:
    process = holder(tmp_path)
    try:
        with (
            pytest.raises(JobBusyError, match="make"),
            patience(0.01, lambda: None),
            job_lock(tmp_path, doing="scan"),
        ):
            pass
    finally:
        end(process)


def test_an_error_inside_lets_go_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), job_lock(tmp_path, doing="make"):
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []
    with job_lock(tmp_path, doing="make"):
        pass


def test_many_at_once_never_share(tmp_path: Path) -> None:
    """Four processes take turns two hundred times; a counter without a lock would lose some."""
    code = """
import sys, time
from pathlib import Path
from fitkit.errors import JobBusyError
from fitkit.job.job_lock import job_lock
folder, done = Path(sys.argv[1]), 0
while done < 50:
    try:
        with job_lock(folder, doing="count"):
            count = int((folder / "count").read_text())
            time.sleep(0.0002)
            (folder / "count").write_text(str(count + 1))
            done += 1
    except JobBusyError:
        time.sleep(0.0005)
"""
    (tmp_path / "count").write_text("0")
    many = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path)]) for _ in range(4)]
    assert [process.wait(timeout=100) for process in many] == [0, 0, 0, 0]
    assert (tmp_path / "count").read_text() == "200"
