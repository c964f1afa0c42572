"""Photos that cannot give a scan: exit 1, one cause and one remedy, the job unchanged.

The real commands in processes of their own, on real image files.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from fitkit.cli.app import app

FITKIT = [sys.executable, "-c", "from fitkit.cli import main; main()"]


def fitkit(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*FITKIT, *map(str, words)], capture_output=True, text=True, timeout=300)


def tree(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): (
            hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
        )
        for path in sorted(folder.rglob("*"))
    }


def plain_photo(path: Path, seed: int) -> None:
    """Write an image of coarse noise: sharp enough to be a photo, with no marker sheet in it."""
    random = np.random.default_rng(seed)
    coarse = random.integers(0, 255, size=(60, 45, 3), dtype=np.uint8)
    Image.fromarray(coarse).resize((720, 960)).save(path, quality=90)


def empty_folder(folder: Path) -> None:
    folder.mkdir()


def photos_with_no_tag(folder: Path) -> None:
    folder.mkdir()
    for number in range(5):
        plain_photo(folder / f"{number}.jpg", number)


def text_named_jpg(folder: Path) -> None:
    folder.mkdir()
    (folder / "notes.jpg").write_text("These are words, not a photo.\n" * 50)


def two_photos(folder: Path) -> None:
    folder.mkdir()
    for number in range(2):
        plain_photo(folder / f"{number}.jpg", number)


def cut_short(folder: Path) -> None:
    photos_with_no_tag(folder)
    for path in folder.iterdir():
        path.write_bytes(path.read_bytes()[:700])


def not_there(folder: Path) -> None:
    assert not folder.exists()


@pytest.mark.parametrize(
    "make_photos",
    [empty_folder, photos_with_no_tag, text_named_jpg, two_photos, cut_short, not_there],
)
def test_a_scan_that_cannot_be_made(tmp_path: Path, make_photos: Callable[[Path], None]) -> None:
    job, photos = tmp_path / "job", tmp_path / "photos of mine"
    assert CliRunner().invoke(app, ["start", str(job)]).exit_code == 0
    make_photos(photos)
    before = tree(tmp_path)
    result = fitkit("scan", job, photos)
    assert result.returncode == 1, result.stdout + result.stderr
    assert "Traceback" not in result.stderr
    rows = [row.split(":")[0] for row in result.stderr.splitlines() if "%" not in row]
    assert rows == ["cause", "remedy"], result.stderr
    assert tree(tmp_path) == before
    assert CliRunner().invoke(app, ["check", str(job)]).exit_code == 0
