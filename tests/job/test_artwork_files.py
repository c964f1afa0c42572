"""Emblems read from files, their shapes known beforehand."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from fitkit.errors import FileError
from fitkit.job.artwork_files import read_artwork

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 400 200">
<g transform="translate(100 100)"><circle r="100"/></g>
<path d="M200,0 L400,0 L400,200 Z"/></svg>"""


def test_a_drawing_keeps_its_shapes_one_wide_about_its_middle(tmp_path: Path) -> None:
    (tmp_path / "crest.svg").write_text(SVG)
    circle, triangle = read_artwork(tmp_path, "crest.svg")
    every = np.vstack([circle, triangle])
    assert every.min(axis=0) == pytest.approx([-0.5, -0.25], abs=1e-6)
    assert every.max(axis=0) == pytest.approx([0.5, 0.25], abs=1e-6)
    # The circle of 100 in 400 has its middle a quarter left of the emblem's and radius 1/4.
    radii = np.linalg.norm(circle - [-0.25, 0.0], axis=1)
    assert radii == pytest.approx(np.full(len(radii), 0.25), abs=1e-4)
    # y runs up: the triangle's upper side is level.
    assert triangle[:2, 1] == pytest.approx([0.25, 0.25], abs=1e-6)
    assert triangle[0] == pytest.approx(triangle[-1], abs=1e-9)


def test_a_picture_gives_the_outlines_of_its_dark_areas(tmp_path: Path) -> None:
    image = Image.new("L", (300, 200), 255)
    draw = ImageDraw.Draw(image)
    draw.rectangle((50, 60, 249, 139), fill=0)
    draw.ellipse((130, 80, 170, 120), fill=255)
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    (tmp_path / "crest.png").write_bytes(buffer.getvalue())
    outer, inner = sorted(read_artwork(tmp_path, "crest.png"), key=lambda line: -np.ptp(line[:, 0]))
    assert np.ptp(outer, axis=0) == pytest.approx([1.0, 0.4], abs=0.01)
    assert np.ptp(inner, axis=0) == pytest.approx([0.205, 0.205], abs=0.01)
    assert outer[0] == pytest.approx(outer[-1])


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("gone.svg", None),
        ("bad.svg", b"no drawing"),
        ("bad.png", b"no picture"),
        ("e.svg", b"<svg/>"),
    ],
)
def test_what_cannot_be_read_is_told_with_a_remedy(
    tmp_path: Path, name: str, data: bytes | None
) -> None:
    if data is not None:
        (tmp_path / name).write_bytes(data)
    with pytest.raises(FileError) as caught:
        read_artwork(tmp_path, name)
    assert caught.value.remedy


def test_a_white_picture_shows_nothing(tmp_path: Path) -> None:
    Image.new("L", (30, 20), 255).save(tmp_path / "white.png")
    with pytest.raises(FileError, match="no line"):
        read_artwork(tmp_path, "white.png")
