"""Cutting patches out of a form along its tape lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Ints
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import euler_characteristic
from fitkit.patch.anchor import describe_anchor, place_anchor, place_anchors
from fitkit.patch.design import Anchor, PatchDesign
from fitkit.patch.form import Form
from fitkit.patch.grain_line import grain_path
from fitkit.patch.lined_form import LinedForm, line_the_form
from fitkit.patch.patch import InnerLine, Patch, PatchEdge
from fitkit.patch.place_in_words import place_in_words
from fitkit.patch.region_lines import RegionLines
from fitkit.patch.tape_line import TapeLine
from fitkit.patch.unclosed_patch import line_stops_short, unclosed_patch

__all__ = ["CutForm", "cut_form", "cut_patches", "patch_region", "places_inside"]

# An inside anchor nearer than this to a boundary line does not say on which side it is.
_ON_LINE_MM = 0.01
# A name that no line of the maker's can have.
_GRAIN = "grain\t"


@dataclass(frozen=True, slots=True, eq=False)
class CutForm:
    """A form cut into patches.

    Attributes
    ----------
    lined
        The form with all lines made into edges.
    patches
        In the order of their designs.
    patch_of_face
        (F,) int: index of the patch that each face of the lined form lies in, -1 for none.
    """

    lined: LinedForm
    patches: tuple[Patch, ...]
    patch_of_face: Ints


def cut_patches(
    form: Form,
    lines: Sequence[TapeLine],
    designs: Sequence[PatchDesign],
    *,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[Patch, ...]:
    """Return the patches of :func:`cut_form` alone."""
    return cut_form(form, lines, designs, progress=progress).patches


def cut_form(
    form: Form,
    lines: Sequence[TapeLine],
    designs: Sequence[PatchDesign],
    *,
    others: Sequence[PatchDesign] = (),
    progress: Callable[[float, str], None] | None = None,
) -> CutForm:
    """Cut the patches of the designs out of a form.

    All lines become edges of the form; a patch is what can be reached from its inside anchor
    without crossing its boundary lines. Lines may run on beyond the corners of a patch: the
    tails are inner lines of whichever patch they lie in. The form is taken as it is: a patch with
    a clearance of its own is to be cut from a form grown by that clearance.

    Parameters
    ----------
    form, lines
        The lines must have been laid on this very form.
    designs
        In the order in which patches are returned.
    others
        Patches that are cut from other forms, to be known as neighbours only.
    progress
        Called with the fraction done and what is being done.

    Raises
    ------
    DesignError
        When a design names a line that is not there, its boundary does not close, its inside
        anchor lies on a boundary line, or its seam does not run from rim to rim.
    """
    known = [line.name for line in lines]
    for design in designs:
        _check_names(design, known)
    if progress is not None:
        progress(0.0, "putting the tape lines on the form")
    lined = line_the_form(form.mesh, lines)
    inside = _all_places_inside(form, designs)
    regions = [patch_region(lined, *pair) for pair in zip(designs, inside, strict=True)]
    grains = _grains(form, lined, lines, designs, regions)
    if grains:
        lined = line_the_form(form.mesh, [*lines, *grains])
        regions = [
            patch_region(lined, design, places, bounds=design.boundary or known)
            for design, places in zip(designs, inside, strict=True)
        ]
    elsewhere = _regions_of_others(form, lined, others)
    names = [design.name for design in (*designs, *(design for design, _ in elsewhere))]
    owner = _owner_of_faces(lined, [*regions, *(region for _, region in elsewhere)])
    patches = []
    for number, (design, region) in enumerate(zip(designs, regions, strict=True)):
        if progress is not None:
            progress((number + 1) / (len(designs) + 1), f"cutting out {design.name}")
        patches.append(_cut_patch(form, lined, design, region, owner, names))
    if progress is not None:
        progress(1.0, "patches cut")
    own = np.where(owner < len(designs), owner, -1)
    return CutForm(lined, tuple(patches), own)


def _check_names(design: PatchDesign, known: Sequence[str]) -> None:
    for line in (*design.boundary, *design.seams):
        if line not in known:
            raise DesignError(
                f"The patch '{design.name}' names the line '{line}', which does not exist.",
                f"Use one of: {', '.join(known) or 'none drawn yet'}.",
            )


def _all_places_inside(
    form: Form, designs: Sequence[PatchDesign]
) -> list[list[tuple[Anchor, SurfacePoint]]]:
    """Place the inside anchors of all designs, at one go where none is at fault."""
    anchors = [(design.inside, *design.more_inside) for design in designs]
    try:
        points = iter(place_anchors(form, [anchor for row in anchors for anchor in row]))
    except DesignError:
        return [places_inside(form, design) for design in designs]
    return [[(anchor, next(points)) for anchor in row] for row in anchors]


def places_inside(form: Form, design: PatchDesign) -> list[tuple[Anchor, SurfacePoint]]:
    """Return a patch's inside anchors with the points of the form that they mean.

    Raises
    ------
    DesignError
        When one cannot be placed; the cause names the patch.
    """
    try:
        return [(a, place_anchor(form, a)) for a in (design.inside, *design.more_inside)]
    except DesignError as error:
        raise DesignError(
            f"Inside the patch '{design.name}': {error.cause}", error.remedy
        ) from error


def patch_region(
    lined: LinedForm,
    design: PatchDesign,
    inside: Sequence[tuple[Anchor, SurfacePoint]],
    *,
    bounds: Sequence[str] | None = None,
) -> Bools:
    """(F,) bool: the faces of a lined form that a patch takes in.

    Parameters
    ----------
    inside
        Its inside anchors and the points of the form they mean.
    bounds
        The lines that it may not cross; if not given, its boundary, or without one all lines.

    Raises
    ------
    DesignError
        When an anchor lies on a line that bounds it.
    """
    bounds = bounds or design.boundary or lined.lines
    for anchor, point in inside:
        for line in bounds:
            if lined.distance_to(line, point.point_mm) < _ON_LINE_MM:
                raise DesignError(
                    f"The inside anchor {describe_anchor(anchor)} of the patch "
                    f"'{design.name}' lies on its boundary line '{line}'.",
                    "Move the anchor into the patch.",
                )
    return lined.region_at([lined.face_at(point) for _, point in inside], bounds)


def _regions_of_others(
    form: Form, lined: LinedForm, others: Sequence[PatchDesign]
) -> list[tuple[PatchDesign, Bools]]:
    found = []
    for design in others:
        if not set(design.boundary) <= set(lined.lines):
            continue  # it lies where none of this form's patches are
        try:
            places = places_inside(form, design)
            found.append((design, patch_region(lined, design, places)))
        except DesignError:
            continue  # told when it is cut from its own form
    return found


def _owner_of_faces(lined: LinedForm, regions: Sequence[Bools]) -> Ints:
    """(F,) int: which region each face lies in, the first that has it; -1 for none."""
    owner = np.full(len(lined.mesh.faces), -1, dtype=np.int64)
    for number in range(len(regions) - 1, -1, -1):
        owner[regions[number]] = number
    return owner


def _cut_patch(
    form: Form,
    lined: LinedForm,
    design: PatchDesign,
    region: Bools,
    owner: Ints,
    names: Sequence[str],
) -> Patch:
    drawn = RegionLines(lined, region)
    boundary = design.boundary or drawn.border_lines()
    if not boundary:
        raise DesignError(
            f"The patch '{design.name}' has no tape lines round it: it takes in the whole form.",
            "Draw the lines that bound it, or name them.",
        )
    place = drawn.off_lines_mm(boundary)
    if place is not None:
        raise DesignError(
            f"The patch '{design.name}' runs over an edge of the form "
            f"{place_in_words(form.body, place)}.",
            "Draw its boundary lines within the form.",
        )
    bounding = drawn.border_lines()
    without_border = [line for line in boundary if line not in bounding]
    if without_border:
        raise unclosed_patch(form, lined, replace(design, boundary=boundary), region)
    loops = drawn.loops(boundary, design.seams)
    loops = tuple(
        tuple(_with_neighbours(edge, drawn, region, owner, names) for edge in loop)
        for loop in loops
    )
    inner = tuple(line for line in drawn.inner_lines() if not line.line.startswith(_GRAIN))
    findings = list(_shape_findings(design, drawn, len(loops)))
    if not design.boundary:
        findings += line_stops_short(form, lined, design, drawn, inner)
    if len(loops) > 1:
        inner = _seams_first(drawn, design, loops, inner)
    elif design.seams:
        findings.append(
            Finding(
                "seam-without-use",
                Severity.NOTE,
                design.name,
                f"The patch '{design.name}' has {len(loops)} rims; its seam "
                f"'{design.seams[0]}' opens nothing.",
            )
        )
    if design.grain is not None:
        grain = [line for line in drawn.inner_lines() if line.line == _GRAIN + design.name]
        inner = (*inner, *(InnerLine("grain", line.vertices) for line in grain))
        if not grain:
            findings.append(
                Finding(
                    "grain-not-drawn",
                    Severity.NOTE,
                    design.name,
                    f"The patch '{design.name}' is too narrow to draw its grain on.",
                )
            )
    return Patch(design, drawn.mesh, loops, inner, tuple(findings))


def _grains(
    form: Form,
    lined: LinedForm,
    lines: Sequence[TapeLine],
    designs: Sequence[PatchDesign],
    regions: Sequence[Bools],
) -> list[TapeLine]:
    """Lines that show the grain of those patches that have one."""
    grains = []
    for design, region in zip(designs, regions, strict=True):
        if design.grain is not None:
            path = grain_path(form, lined, region, lines, design.grain)
            if path is not None:
                grains.append(TapeLine(_GRAIN + design.name, path))
    return grains


def _with_neighbours(
    edge: PatchEdge, drawn: RegionLines, region: Bools, owner: Ints, names: Sequence[str]
) -> PatchEdge:
    """Note on an edge which patches lie on its other side, from where to where."""
    beyond = drawn.faces_beyond(edge.vertices)
    patches = np.where((beyond < 0) | region[beyond], -1, owner[beyond])
    turns = np.r_[0, np.flatnonzero(np.diff(patches)) + 1, len(patches)]
    beside = tuple(
        (int(first), int(last), names[int(patches[first])])
        for first, last in pairwise(turns)
        if patches[first] >= 0
    )
    return replace(edge, beside=beside)


def _shape_findings(design: PatchDesign, drawn: RegionLines, loops: int) -> list[Finding]:
    findings = []
    if euler_characteristic(drawn.mesh) != 2 - loops:
        findings.append(
            Finding(
                "patch-with-handle",
                Severity.STOP,
                design.name,
                f"The patch '{design.name}' goes round a handle of the form, such as an arm "
                "grown together with the trunk.",
                "Divide it with another tape line, or part the body there.",
            )
        )
    return findings


def _seams_first(
    drawn: RegionLines,
    design: PatchDesign,
    loops: tuple[tuple[PatchEdge, ...], ...],
    inner: tuple[InnerLine, ...],
) -> tuple[InnerLine, ...]:
    """Put the stretches of the seams that run from rim to rim before the other inner lines."""
    rims = [np.concatenate([edge.vertices for edge in loop]) for loop in loops]
    chosen: list[InnerLine] = []
    for seam in design.seams:
        joining = []
        for line in inner:
            first, last = (
                [bool(np.isin(line.vertices[end], rim)) for rim in rims] for end in (0, -1)
            )
            if line.line == seam and any(first) and any(last) and first != last:
                joining.append(line)
        if not joining:
            raise DesignError(
                f"The seam '{seam}' of the patch '{design.name}' does not run from one rim to "
                "another.",
                "Make the seam line longer so that it crosses both rims, or choose another line.",
            )
        chosen += sorted(joining, key=lambda line: drawn.length_mm(line.vertices))
    return (*chosen, *(line for line in inner if line not in chosen))
