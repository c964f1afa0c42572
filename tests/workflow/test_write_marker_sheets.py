"""Marker sheets come out as one page each, in the size of their paper."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
import pytest

from fitkit.errors import FileError, InputError
from fitkit.workflow import write_marker_sheets

MM_PER_POINT = 25.4 / 72.0  # ISO 32000-1, 8.3.2.3: the default user space unit is 1/72 inch


@pytest.mark.parametrize(
    ("paper", "size_mm"),
    [("A4", (210.0, 297.0)), ("a3", (297.0, 420.0)), ("Letter", (215.9, 279.4))],
)
def test_pages_and_their_size(tmp_path: Path, paper: str, size_mm: tuple[float, float]) -> None:
    """A sizes of ISO 216; Letter is 8.5 by 11 inches (ANSI/ASME Y14.1 size A)."""
    out = tmp_path / "sheets.pdf"
    report = write_marker_sheets(out, paper=paper, count=3)
    assert report.files == (out,)
    document = pypdfium2.PdfDocument(out)
    assert len(document) == 3
    for page in document:
        assert [x * MM_PER_POINT for x in page.get_size()] == pytest.approx(size_mm, abs=0.01)
    document.close()


def test_the_same_sheets_are_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_marker_sheets(tmp_path / name, count=2)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.parametrize(("paper", "count"), [("A5", 1), ("Tabloid", 1), ("A4", 0), ("A4", 101)])
def test_what_cannot_be_printed_writes_nothing(tmp_path: Path, paper: str, count: int) -> None:
    with pytest.raises(InputError):
        write_marker_sheets(tmp_path / "x.pdf", paper=paper, count=count)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no folder"):
        write_marker_sheets(tmp_path / "nowhere" / "x.pdf")
