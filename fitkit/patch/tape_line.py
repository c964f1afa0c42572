"""Laying tape lines on a form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fitkit.errors import DesignError, MeshError, PathError
from fitkit.geometry.arrays import Bools
from fitkit.geometry.geodesic import join_paths, shortest_legs
from fitkit.geometry.round_path import round_path
from fitkit.geometry.smooth_path import smooth_path
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import border_vertices
from fitkit.patch.anchor import describe_anchor
from fitkit.patch.design import (
    Anchor,
    GeodesicLine,
    LevelLine,
    MirroredLine,
    ParallelLine,
    PointAnchor,
    RoundLine,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
    lines_needed,
)
from fitkit.patch.form import Form
from fitkit.patch.level_round import level_round, symmetry_round
from fitkit.patch.line_anchor import place_among_lines
from fitkit.patch.parallel_line import parallel_line
from fitkit.patch.place_in_words import place_in_words

__all__ = ["TapeLine", "lay_tape_line"]

_ON_RIM_MM = 1e-6
# A point in space farther than this from the form was meant for somewhere else.
_OFF_BODY_MM = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class TapeLine:
    """A tape line laid on a form."""

    name: str
    path: SurfacePath


def lay_tape_line(
    form: Form,
    design: TapeLineDesign,
    laid: Mapping[str, TapeLine] | None = None,
    *,
    rim: Bools | None = None,
) -> TapeLine:
    """Return the line that a design means on a form.

    A level line is the round of the section that goes about the axis, so that arms beside
    the trunk are left out. A shortest line runs leg by leg; a smooth line bends as little as
    the surface lets it. Both pass through their anchors.

    Parameters
    ----------
    laid
        The lines that the design leans on, laid on the same form, by name;
        :func:`fitkit.patch.line_network.lay_tape_lines` sees to that.
    rim
        (V,) bool: vertices of the form at its holes and rims, if known already.

    Raises
    ------
    DesignError
        When the line cannot be laid; the cause names it, and where it leaves the form the place.
    """
    paths = {name: line.path for name, line in (laid or {}).items()}
    for needed in lines_needed(design):
        if needed not in paths:
            raise DesignError(
                f"The line '{design.name}' leans on the line '{needed}', which is not drawn.",
                f"Draw the line '{needed}', or use one of: {', '.join(paths) or 'none yet'}.",
            )
    try:
        path = _path(form, design, paths)
        if isinstance(design, GeodesicLine | ThroughLine):
            _check_rim(form, path, border_vertices(form.mesh) if rim is None else rim)
    except MeshError as error:
        where = ""
        if isinstance(error, PathError) and error.place_mm:
            where = f" It fails {place_in_words(form.body, np.array(error.place_mm))}."
        raise DesignError(
            f"The line '{design.name}' cannot be laid: {error.cause}{where}", error.remedy
        ) from error
    return TapeLine(design.name, path)


def _path(form: Form, design: TapeLineDesign, paths: Mapping[str, SurfacePath]) -> SurfacePath:
    match design:
        case LevelLine():
            return level_round(form, design)
        case SymmetryLine():
            return symmetry_round(form, design)
        case ParallelLine():
            return parallel_line(form, design, paths[design.of])
        case RoundLine():
            return _round(form, design, paths)
        case GeodesicLine():
            legs = shortest_legs(
                form.mesh, _distinct_points(form, design, paths), closed=design.closed
            )
            return join_paths(legs, closed=design.closed)
        case ThroughLine():
            points = _distinct_points(form, design, paths)
            return smooth_path(form.mesh, points, closed=design.closed)
        case MirroredLine():
            raise DesignError(
                f"The line '{design.name}' mirrors another and cannot be laid by itself.",
                "Lay all lines of the design together.",
            )


def _round(form: Form, design: RoundLine, paths: Mapping[str, SurfacePath]) -> SurfacePath:
    if not design.radius_mm > 0:
        raise DesignError(
            f"The round '{design.name}' has a radius of {design.radius_mm:g} mm.",
            "Give a radius above zero.",
        )
    (centre,) = _placed(form, design.name, (design.centre,), paths)
    return round_path(form.mesh, centre, design.radius_mm)


def _distinct_points(
    form: Form, design: GeodesicLine | ThroughLine, paths: Mapping[str, SurfacePath]
) -> tuple[SurfacePoint, ...]:
    """Place the anchors of a line and refuse those that follow each other at one place."""
    needed = 3 if design.closed else 2
    if len(design.through) < needed:
        raise DesignError(
            f"The line '{design.name}' has {len(design.through)} anchors and needs {needed}.",
            "Add anchors for it to run through.",
        )
    points = _placed(form, design.name, design.through, paths)
    followers = [*range(1, len(points)), 0] if design.closed else range(1, len(points))
    for i, j in enumerate(followers):
        if np.linalg.norm(points[i].point_mm - points[j].point_mm) < 0.01:
            raise DesignError(
                f"The line '{design.name}' has two anchors at one place: "
                f"{describe_anchor(design.through[i])} and {describe_anchor(design.through[j])}.",
                "Leave one of them out, or move it.",
            )
    return points


def _placed(
    form: Form, name: str, anchors: tuple[Anchor, ...], paths: Mapping[str, SurfacePath]
) -> tuple[SurfacePoint, ...]:
    try:
        points = place_among_lines(form, anchors, paths)
    except DesignError as error:
        raise DesignError(f"On the line '{name}': {error.cause}", error.remedy) from error
    for anchor, point in zip(anchors, points, strict=True):
        if isinstance(anchor, PointAnchor):
            _check_near(form, name, anchor, point)
    return points


def _check_near(form: Form, name: str, anchor: PointAnchor, point: SurfacePoint) -> None:
    """Refuse a point in space that is not on the form: it would be dropped on it anywhere."""
    told = np.array([anchor.x_mm, anchor.y_mm, anchor.z_mm])
    off = float(np.linalg.norm(told - point.point_mm))
    if off > _OFF_BODY_MM + form.clearance_mm:
        raise DesignError(
            f"On the line '{name}': the point {describe_anchor(anchor)} is {off:.0f} mm off the "
            f"form, which is nearest {place_in_words(form.body, point.point_mm)}.",
            "Give a point on the body, or a height and bearing.",
        )


def _check_rim(form: Form, path: SurfacePath, rim: Bools) -> None:
    """Refuse a line that is drawn along the rim of a hole; it may end there."""
    if not rim.any():
        return
    points = path.points_mm if path.closed else path.points_mm[1:-1]
    faces = path.faces if path.closed else path.faces[1:]
    corners = form.mesh.faces[faces]
    near = np.flatnonzero(rim[corners].any(axis=1))
    if len(near) == 0:
        return
    corners = corners[near]
    ends = np.roll(corners, -1, axis=1)
    starts_mm, ways = form.mesh.vertices[corners], form.mesh.vertices[ends]
    ways = ways - starts_mm
    shift = points[near, None] - starts_mm
    square = np.maximum(np.einsum("nki,nki->nk", ways, ways), 1e-300)
    share = np.clip(np.einsum("nki,nki->nk", shift, ways) / square, 0.0, 1.0)
    off = np.linalg.norm(shift - share[..., None] * ways, axis=2)
    # An edge of a triangle whose both ends are at the rim runs along it, or cuts a corner of it.
    on_rim = (off < _ON_RIM_MM) & rim[corners] & (rim[ends] | (share == 0.0))
    touching = on_rim.any(axis=1)
    if touching.any():
        raise PathError(
            "It runs into a hole or over the rim of the body.",
            "Draw it round the hole, or close the body there.",
            points[near[int(touching.argmax())]],
        )
