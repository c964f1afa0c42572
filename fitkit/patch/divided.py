"""What a patch becomes when a line divides it, or when it is joined with its neighbour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Bools, Floats, frozen_floats
from fitkit.patch.cut_patches import patch_region, places_inside
from fitkit.patch.design import Anchor, PatchDesign, PointAnchor
from fitkit.patch.form import Form
from fitkit.patch.line_anchor import place_among_lines
from fitkit.patch.lined_form import LinedForm, line_the_form
from fitkit.patch.place_in_words import anchor_at
from fitkit.patch.region_lines import RegionLines
from fitkit.patch.tape_line import TapeLine

__all__ = ["PatchPart", "bounding_lines", "divided_patch", "joined_patches"]

# A place inside must lie so far from the line that divides its patch to stay what tells it.
_CLEAR_MM = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class PatchPart:
    """How a patch is told in the design, and what goes with it.

    Attributes
    ----------
    boundary, inside
        Its boundary lines and places inside.
    rims
        How many borders it has: one that goes right round a limb has two.
    lines
        All lines along its border or across it.
    middle_mm
        (3,) float mm: the middle of its area, in space.
    standing
        Names of those places that lie in it, of the ones asked for.
    """

    boundary: tuple[str, ...]
    inside: tuple[Anchor, ...]
    rims: int
    lines: tuple[str, ...]
    middle_mm: Floats
    standing: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "middle_mm", frozen_floats(self.middle_mm, (3,), "middle_mm"))


def bounding_lines(form: Form, lines: Sequence[TapeLine], design: PatchDesign) -> PatchPart:
    """Return the lines that run round the place inside a patch.

    Raises
    ------
    DesignError
        When no line does, or the region runs over a rim of the form.
    """
    lined = line_the_form(form.mesh, lines)
    region = patch_region(lined, design, places_inside(form, design))
    if not RegionLines(lined, region).border_lines():
        raise DesignError(
            f"No tape line runs round the place inside the patch '{design.name}'.",
            "Draw the lines that bound it, or give it a radius.",
        )
    return _part(lined, region, (design.inside, *design.more_inside))


def divided_patch(
    form: Form,
    lines: Sequence[TapeLine],
    design: PatchDesign,
    along: str,
    *,
    standing: Mapping[str, Anchor] | None = None,
) -> tuple[PatchPart, PatchPart]:
    """Return the two parts into which a line divides a patch; the first has its inside anchor.

    Parameters
    ----------
    standing
        Places by name, of which each part tells those that lie in it.

    Raises
    ------
    DesignError
        When the line does not divide it, or makes more than two parts of it.
    """
    if along not in [line.name for line in lines]:
        raise DesignError(
            f"There is no tape line '{along}' to divide the patch '{design.name}' along.",
            f"Use one of: {', '.join(line.name for line in lines)}.",
        )
    lined = line_the_form(form.mesh, lines)
    places = places_inside(form, design)
    region = patch_region(lined, design, places)
    bounds = list(dict.fromkeys([*(design.boundary or _border(lined, region)), along]))
    first = lined.region_at([lined.face_at(point) for _, point in places], bounds)
    parts = [first & region]
    rest = region & ~first
    while rest.any():
        parts.append(lined.region_at([int(np.argmax(rest))], bounds) & region)
        rest &= ~parts[-1]
    if len(parts) != 2:
        many = f"makes {len(parts)} parts of it" if len(parts) > 2 else "does not divide it"
        raise DesignError(
            f"The patch '{design.name}' cannot be divided: the line '{along}' {many}.",
            "Use a line that runs once through it, from edge to edge or right round.",
        )
    kept = tuple(
        anchor for anchor, point in places if lined.distance_to(along, point.point_mm) > _CLEAR_MM
    )
    anchors = standing or {}
    laid = {line.name: line.path for line in lines}
    placed = place_among_lines(form, list(anchors.values()), laid) if anchors else []
    faces = {name: lined.face_at(at) for name, at in zip(anchors, placed, strict=True)}
    first_inside = kept or (_place_inside(form, lined, parts[0], bounds),)
    old, new = (
        replace(
            _part(lined, part, inside),
            standing=tuple(name for name, face in faces.items() if part[face]),
        )
        for part, inside in (
            (parts[0], first_inside),
            (parts[1], (_place_inside(form, lined, parts[1], bounds),)),
        )
    )
    return old, new


def joined_patches(
    form: Form, lines: Sequence[TapeLine], first: PatchDesign, second: PatchDesign
) -> PatchPart:
    """Return what two patches that lie beside each other make together.

    Raises
    ------
    DesignError
        When they have no edge in common.
    """
    lined = line_the_form(form.mesh, lines)
    one, two = (patch_region(lined, each, places_inside(form, each)) for each in (first, second))
    cells = [np.unique(lined.cells[region]) for region in (one, two)]
    sides = [np.isin(lined.edge_cells, inside) for inside in cells]
    shared = (sides[0][:, 0] & sides[1][:, 1]) | (sides[0][:, 1] & sides[1][:, 0])
    if not shared.any():
        raise DesignError(
            f"The patches '{first.name}' and '{second.name}' do not lie beside each other.",
            "Join patches that have an edge in common.",
        )
    both = one | two
    part = _part(lined, both, ())
    # Lines that bound one of them may run on through the other: each piece that they leave of the
    # whole needs a place of its own.
    anchors: list[Anchor] = []
    left = both.copy()
    for anchor, point in (*places_inside(form, first), *places_inside(form, second)):
        piece = lined.region_at([lined.face_at(point)], part.boundary)
        if (piece & left).any():
            anchors.append(anchor)
            left &= ~piece
    while left.any():
        piece = lined.region_at([int(np.argmax(left))], part.boundary)
        anchors.append(_place_inside(form, lined, piece, part.boundary))
        left &= ~piece
    return replace(part, inside=tuple(anchors))


def _border(lined: LinedForm, region: Bools) -> tuple[str, ...]:
    return RegionLines(lined, region).border_lines()


def _part(lined: LinedForm, region: Bools, inside: tuple[Anchor, ...]) -> PatchPart:
    drawn = RegionLines(lined, region)
    boundary = drawn.border_lines()
    across = [line.line for line in drawn.inner_lines()]
    areas = drawn.mesh.face_areas_mm2()
    return PatchPart(
        boundary,
        inside,
        len(drawn.loops(boundary, ())),
        tuple(dict.fromkeys([*boundary, *across])),
        np.average(drawn.mesh.corners.mean(axis=1), axis=0, weights=areas),
    )


def _place_inside(form: Form, lined: LinedForm, region: Bools, bounds: Sequence[str]) -> Anchor:
    """Return an anchor as far inside a region as there is room."""
    corners = lined.mesh.corners[region]
    middles = corners.mean(axis=1)
    on_lines = np.flatnonzero(lined.on_vertex[lined.columns(bounds)].any(axis=0))
    border = np.intersect1d(lined.mesh.faces[region], on_lines)
    distance, _ = cKDTree(lined.mesh.vertices[border]).query(middles)
    place = middles[int(np.argmax(distance))]
    anchor = anchor_at(form, place)
    probe = PatchDesign("", tuple(bounds), anchor)
    try:
        found = patch_region(lined, probe, places_inside(form, probe))
    except DesignError:
        found = np.zeros_like(region)
    if not (found & region).any():
        x, y, z = (round(float(value), 1) for value in place)
        return PointAnchor(x, y, z)
    return anchor
