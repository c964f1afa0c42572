"""Cutting patches out of a form along its tape lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools
from fitkit.geometry.topology import euler_characteristic
from fitkit.patch.anchor import describe_anchor, place_anchor
from fitkit.patch.design import PatchDesign
from fitkit.patch.form import Form
from fitkit.patch.lined_form import LinedForm, line_the_form
from fitkit.patch.patch import InnerLine, Patch, PatchEdge
from fitkit.patch.region_lines import RegionLines
from fitkit.patch.tape_line import TapeLine
from fitkit.patch.unclosed_patch import unclosed_patch

__all__ = ["cut_patches"]

# An inside anchor nearer than this to a boundary line does not say on which side it is.
_ON_LINE_MM = 0.01


def cut_patches(
    form: Form,
    lines: Sequence[TapeLine],
    designs: Sequence[PatchDesign],
    *,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[Patch, ...]:
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
    patches = []
    for number, design in enumerate(designs):
        if progress is not None:
            progress((number + 1) / (len(designs) + 1), f"cutting out {design.name}")
        patches.append(_cut_patch(form, lined, design))
    if progress is not None:
        progress(1.0, "patches cut")
    return tuple(patches)


def _check_names(design: PatchDesign, known: Sequence[str]) -> None:
    if not design.boundary:
        raise DesignError(
            f"The patch '{design.name}' names no boundary lines.",
            "Name the tape lines that run round it.",
        )
    named = [*design.boundary, *([] if design.seam is None else [design.seam])]
    for line in named:
        if line not in known:
            raise DesignError(
                f"The patch '{design.name}' names the line '{line}', which does not exist.",
                f"Use one of: {', '.join(known) or 'none drawn yet'}.",
            )


def _cut_patch(form: Form, lined: LinedForm, design: PatchDesign) -> Patch:
    region = _region(form, lined, design)
    drawn = RegionLines(lined, region)
    if not drawn.is_border_of(design.boundary):
        raise DesignError(
            f"The patch '{design.name}' runs over an edge of the form.",
            "Draw its boundary lines within the form.",
        )
    without_border = [line for line in design.boundary if not drawn.has_border_on(line)]
    if without_border:
        raise unclosed_patch(lined, design, without_border)
    loops = drawn.loops(design.boundary, design.seam)
    inner = drawn.inner_lines()
    findings = list(_shape_findings(design, drawn, len(loops)))
    if design.seam is not None:
        if len(loops) == 2:
            inner = _seam_first(drawn, design, loops, inner)
        else:
            findings.append(
                Finding(
                    "seam-without-use",
                    Severity.NOTE,
                    design.name,
                    f"The patch '{design.name}' has {len(loops)} rims; its seam "
                    f"'{design.seam}' opens nothing.",
                )
            )
    return Patch(design, drawn.mesh, loops, inner, tuple(findings))


def _region(form: Form, lined: LinedForm, design: PatchDesign) -> Bools:
    try:
        inside = place_anchor(form, design.inside)
    except DesignError as error:
        raise DesignError(
            f"Inside the patch '{design.name}': {error.cause}", error.remedy
        ) from error
    for line in design.boundary:
        if lined.distance_to(line, inside.point_mm) < _ON_LINE_MM:
            raise DesignError(
                f"The inside anchor {describe_anchor(design.inside)} of the patch "
                f"'{design.name}' lies on its boundary line '{line}'.",
                "Move the anchor into the patch.",
            )
    return lined.region_at(lined.face_at(inside), design.boundary)


def _shape_findings(design: PatchDesign, drawn: RegionLines, loops: int) -> list[Finding]:
    findings = []
    if loops > 2:
        findings.append(
            Finding(
                "patch-with-holes",
                Severity.STOP,
                design.name,
                f"The patch '{design.name}' has {loops} separate borders; sheet cannot take that "
                "shape in one piece.",
                "Divide it with another tape line into patches with one or two borders.",
                number=loops,
                limit=2,
            )
        )
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


def _seam_first(
    drawn: RegionLines,
    design: PatchDesign,
    loops: tuple[tuple[PatchEdge, ...], ...],
    inner: tuple[InnerLine, ...],
) -> tuple[InnerLine, ...]:
    """Put the stretch of the seam that opens the sleeve before the other inner lines."""
    rims = [np.concatenate([edge.vertices for edge in loop]) for loop in loops]
    joining = []
    for line in inner:
        ends = line.vertices[[0, -1]]
        on_rims = [np.isin(ends, rim).tolist() for rim in rims]
        if line.line == design.seam and sorted(on_rims) == [[False, True], [True, False]]:
            joining.append(line)
    if not joining:
        raise DesignError(
            f"The seam '{design.seam}' of the patch '{design.name}' does not run from one rim to "
            "the other.",
            "Make the seam line longer so that it crosses both rims, or choose another line.",
        )
    chosen = min(joining, key=lambda line: drawn.length_mm(line.vertices))
    return (chosen, *(line for line in inner if line is not chosen))
