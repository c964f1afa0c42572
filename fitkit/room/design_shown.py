"""What the desk holds, as meshes, lines and places to be seen."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitkit.room.design_desk import DesignDesk
from fitkit.room.viewer import Disc, ShownLine, ShownMesh, Viewer
from fitkit.workflow.design_view import line_places_mm, place_mm

__all__ = ["patch_colour", "show_design"]

_INK, _PREVIEW = "#141414", "#0072b2"
# Okabe and Ito's colours (2008), made pale so that ink stands on them; neighbours differ.
_PALE = ("#9fd0ea", "#f3cf8b", "#8fd3bd", "#e8b9d2", "#f6ec9a", "#e6b39a", "#a9b9d6")


def patch_colour(index: int) -> str:
    """Return the colour of a patch by its place in the list."""
    return _PALE[index % len(_PALE)]


def show_design(viewer: Viewer, desk: DesignDesk) -> None:
    """Show a desk in a view; only what is new is sent."""
    viewer.show_meshes(_meshes(desk))
    viewer.show_lines(_lines(desk))
    viewer.show_discs(_discs(desk))
    lit = [] if desk.chosen is None else [f"{desk.chosen.section} {desk.chosen.name}"]
    if desk.pointed is not None:
        lit.append(f"patch {desk.pointed}")
    if desk.pointed_line is not None:
        lit.append(f"line {desk.pointed_line}")
    viewer.light_up(lit)


def _meshes(desk: DesignDesk) -> Iterator[ShownMesh]:
    if desk.lines is None:
        return
    yield ShownMesh("body", desk.lines.drawn.form.mesh)
    for index, patch in enumerate(desk.patches.patches if desk.patches else ()):
        if patch.mesh is not None:
            name = f"patch {patch.design.name}"
            yield ShownMesh(name, patch.mesh, colour=patch_colour(index), lift=1)
    if desk.region is not None:
        yield ShownMesh("region", desk.region.mesh, colour="#ffd166", lift=2)
    if desk.ghost is not None:
        yield ShownMesh("form", desk.ghost.mesh, colour="#56b4e9", opacity=0.3)


def _lines(desk: DesignDesk) -> Iterator[ShownLine]:
    if desk.lines is None:
        return
    now = {line.name: line for line in desk.lines.drawn.lines}
    for line in (desk.trial or desk.lines).drawn.lines:
        moved = now.get(line.name) is not line
        yield ShownLine(
            f"line {line.name}",
            line.path.points_mm,
            line.path.closed,
            colour=_PREVIEW if moved and desk.trial else _INK,
            preview=bool(moved and desk.trial),
        )
    for number, path in enumerate(desk.ahead):
        name = f"ahead {number}"
        yield ShownLine(name, path.points_mm, path.closed, colour=_PREVIEW, preview=True)


def _discs(desk: DesignDesk) -> Iterator[Disc]:
    if desk.lines is None:
        return
    for patch in desk.patches.patches if desk.patches else ():
        if patch.label_mm is not None and patch.label_faces is not None:
            name = f"number {patch.design.name}"
            at, faces = _at(patch.label_mm), _at(patch.label_faces)
            yield Disc(name, at, patch.number, fill="#ffffffd0", sizePx=26, faces=faces)
    lines = desk.trial or desk.lines
    if desk.chosen is not None and desk.chosen.section == "line":
        for number, place in enumerate(line_places_mm(lines, desk.chosen.name), 1):
            yield Disc(f"place {number}", _at(place), str(number), fill="#ffd166", hold=True)
    if desk.first is not None:
        yield Disc("first", _at(place_mm(desk.lines, desk.first)), "1", fill="#ffd166")
    if desk.region is not None:
        yield Disc("region", _at(desk.region.point.point_mm), "?", fill="#ffd166", sizePx=30)


def _at(point_mm: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (round(float(value), 2) for value in point_mm)
    return x, y, z
