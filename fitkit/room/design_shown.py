"""What the desk holds, as meshes, lines and places to be seen."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitkit.errors import FitkitError
from fitkit.geometry.arrays import Floats
from fitkit.room.design_state import DesignState
from fitkit.room.viewer import Disc, ShownLine, ShownMesh, Viewer
from fitkit.workflow.design_view import line_places_mm, place_mm
from fitkit.workflow.fittings import fitting_places, patches_of

__all__ = ["patch_colour", "show_design"]

_INK, _PREVIEW, _MARK = "#141414", "#0072b2", "#ffffff"
_PALER = 0.45  # the other of a pair, which is made and not drawn
# Okabe and Ito's colours (2008), made pale so that ink stands on them; neighbours differ.
_PALE = ("#9fd0ea", "#f3cf8b", "#8fd3bd", "#e8b9d2", "#f6ec9a", "#e6b39a", "#a9b9d6")


def patch_colour(index: int) -> str:
    """Return the colour of a patch by its place in the list."""
    return _PALE[index % len(_PALE)]


def show_design(viewer: Viewer, now: DesignState) -> None:
    """Show a design in a view; only what is new is sent."""
    viewer.show_meshes(_meshes(now))
    viewer.show_lines(_lines(now))
    viewer.show_discs(_discs(now))
    lit = [] if now.chosen is None else [f"{now.chosen.section} {now.chosen.name}"]
    if now.chosen_fitting is not None:
        lit = [f"patch {patch}" for patch in patches_of(*now.chosen_fitting)]
    if now.pointed is not None:
        lit.append(f"patch {now.pointed}")
    if now.pointed_line is not None:
        lit.append(f"line {now.pointed_line}")
    viewer.light_up(lit)


def _meshes(now: DesignState) -> Iterator[ShownMesh]:
    if now.lines is None:
        return
    yield ShownMesh("body", now.lines.drawn.form.mesh)
    for index, patch in enumerate(now.patch_views):
        if patch.mesh is not None:
            name = f"patch {patch.design.name}"
            yield ShownMesh(name, patch.mesh, colour=patch_colour(index), lift=1)
        if patch.twin is not None:
            name = f"twin {patch.design.name}"
            yield ShownMesh(name, patch.twin, colour=patch_colour(index), opacity=_PALER, lift=1)
    if now.region is not None:
        yield ShownMesh("region", now.region.mesh, colour="#ffd166", lift=2)
    if now.ghost is not None:
        yield ShownMesh("form", now.ghost.mesh, colour="#56b4e9", opacity=0.3)


def _lines(now: DesignState) -> Iterator[ShownLine]:
    if now.lines is None:
        return
    laid = {line.name: line for line in now.lines.drawn.lines}
    for line in (now.trial or now.lines).drawn.lines:
        moved = laid.get(line.name) is not line
        yield ShownLine(
            f"line {line.name}",
            line.path.points_mm,
            line.path.closed,
            colour=_PREVIEW if moved and now.trial else _INK,
            preview=bool(moved and now.trial),
        )
    for number, path in enumerate(now.ahead):
        name = f"ahead {number}"
        yield ShownLine(name, path.points_mm, path.closed, colour=_PREVIEW, preview=True)


def _discs(now: DesignState) -> Iterator[Disc]:
    if now.lines is None:
        return
    for patch in now.patch_views:
        if patch.label_mm is not None and patch.label_faces is not None:
            name = f"number {patch.design.name}"
            at, faces = _at(patch.label_mm), _at(patch.label_faces)
            yield Disc(name, at, patch.number, fill="#ffffffd0", sizePx=26, faces=faces)
    if now.tool == "line":
        for mark in now.lines.drawn.form.body.landmarks.values():
            meant = mark.name == now.pointed_landmark
            text, size_px = (mark.name, 26) if meant else ("", 11)
            yield Disc(f"landmark {mark.name}", _at(mark.at_mm), text, fill=_MARK, sizePx=size_px)
    lines = now.trial or now.lines
    if now.chosen_line is not None:
        for number, place in enumerate(line_places_mm(lines, now.chosen_line), 1):
            yield Disc(f"place {number}", _at(place), str(number), fill="#ffd166", hold=True)
    if now.chosen_fitting is not None:
        for number, place in enumerate(_fitted_mm(now), 1):
            yield Disc(f"place {number}", _at(place), str(number), fill="#ffd166", hold=True)
    if now.stroke.first is not None:
        yield Disc("first", _at(place_mm(now.lines, now.stroke.first)), "1", fill="#ffd166")
    if now.region is not None:
        yield Disc("region", _at(now.region.point.point_mm), "?", fill="#ffd166", sizePx=30)


def _fitted_mm(now: DesignState) -> Iterator[Floats]:
    """Yield where what is fitted lies, (3,) float mm each; none where one is not on the body."""
    assert now.lines is not None
    assert now.chosen_fitting is not None
    for number, place in enumerate(fitting_places(now.chosen_fitting[1]), 1):
        if now.held is not None and now.held[0] == number:
            yield now.held[1]
            continue
        try:
            yield place_mm(now.lines, place)
        except FitkitError:
            return  # which the step that needs it tells


def _at(point_mm: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (round(float(value), 2) for value in point_mm)
    return x, y, z
