"""Emblems from files: drawings in SVG, and pictures by the outlines of their dark areas."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from fitkit.errors import FileError
from fitkit.geometry.arrays import Floats

__all__ = ["read_artwork"]

# Curves are told by straight steps of this share of the emblem's width at most.
_STEP_SHARE = 1.0 / 400.0
_LEAST_SHARE = 0.004
_LONGEST_PX = 1600
_DRAWN = ".svg"


def read_artwork(folder: Path, name: str) -> tuple[Floats, ...]:
    """Return an emblem's lines, 1 wide about its middle, x to the right and y up.

    Closed lines repeat their first point. Of a picture the edges between dark and light are taken.

    Raises
    ------
    FileError
        When the file is missing, cannot be read, or shows nothing.
    """
    path = folder / name
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FileError(
            f"The artwork '{name}' cannot be read: {error.strerror or error}.",
            "Put it into the job folder, and name it from there.",
        ) from error
    lines = _of_svg(name, data) if path.suffix.lower() == _DRAWN else _of_picture(name, data)
    lines = [line for line in lines if len(line) > 1 and np.ptp(line, axis=0).max() > 0]
    if not lines:
        raise FileError(
            f"The artwork '{name}' shows no line.",
            "Save it as SVG with paths, or as a picture of dark areas on a light ground.",
        )
    every = np.concatenate(lines)
    low, high = every.min(axis=0), every.max(axis=0)
    width = float(high[0] - low[0]) or float(high[1] - low[1])
    return tuple((line - 0.5 * (low + high)) / width for line in lines)


def _of_svg(name: str, data: bytes) -> list[Floats]:
    from svgelements import SVG, Shape  # type: ignore[import-untyped]
    from svgelements import Path as SvgPath

    try:
        drawing = SVG.parse(io.StringIO(data.decode("utf-8", errors="replace")))
        shapes = [SvgPath(one) for one in drawing.elements() if isinstance(one, Shape)]
        subpaths = [SvgPath(sub) for shape in shapes for sub in shape.as_subpaths()]
    except Exception as error:
        raise FileError(
            f"The artwork '{name}' is not a drawing in SVG: {error}.", "Save it again as plain SVG."
        ) from error
    boxes = np.array([path.bbox() for path in subpaths if path.bbox() is not None], dtype=float)
    if not len(boxes):
        return []
    step = _STEP_SHARE * float(max(np.ptp(boxes[:, [0, 2]]), np.ptp(boxes[:, [1, 3]]), 1e-9))
    lines = []
    for path in subpaths:
        points: list[tuple[float, float]] = []
        for segment in path:
            if type(segment).__name__ == "Move":
                continue
            straight = type(segment).__name__ in ("Line", "Close")
            length = float(abs(segment.length(error=1e-3)))
            steps = 1 if straight else max(2, round(length / step))
            shares = np.linspace(0.0, 1.0, steps + 1)[0 if not points else 1 :]
            points += [(float(p.x), float(p.y)) for p in map(segment.point, shares)]
        if points:
            lines.append(np.array(points) * [1.0, -1.0])
    return lines


def _of_picture(name: str, data: bytes) -> list[Floats]:
    from PIL import Image, UnidentifiedImageError
    from skimage.filters import threshold_otsu
    from skimage.measure import approximate_polygon, find_contours

    try:
        with Image.open(io.BytesIO(data)) as image:
            image.thumbnail((_LONGEST_PX, _LONGEST_PX))
            flat = Image.new("RGBA", image.size, "white")
            flat.alpha_composite(image.convert("RGBA"))
            grey = np.asarray(flat.convert("L"), dtype=np.float64)
    except (UnidentifiedImageError, OSError, ValueError) as error:
        raise FileError(
            f"The artwork '{name}' is no picture that can be read.", "Save it as PNG or SVG."
        ) from error
    if np.ptp(grey) < 1.0:
        return []
    # Light all round, so that an area that runs off the picture is closed at its edge.
    framed = np.pad(grey, 1, constant_values=255.0)
    least = _LEAST_SHARE * max(grey.shape)
    contours = find_contours(framed, threshold_otsu(grey))  # type: ignore[no-untyped-call]
    return [
        approximate_polygon(line, 0.3)[:, ::-1] * [1.0, -1.0]  # type: ignore[no-untyped-call]
        for line in contours
        if np.ptp(line, axis=0).max() > least
    ]
