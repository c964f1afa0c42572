"""The region of the body's own surface that tape lines bound, for padding told by lines."""

from __future__ import annotations

from collections.abc import Sequence

from fitkit.body.body import Body
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.anchor import place_anchor
from fitkit.patch.cut_patches import patch_region
from fitkit.patch.design import LinedPlace, PatchDesign, TapeLineDesign
from fitkit.patch.form import Form
from fitkit.patch.line_network import lay_tape_lines, lines_below
from fitkit.patch.lined_form import line_the_form

__all__ = ["padded_region"]


def padded_region(body: Body, lines: Sequence[TapeLineDesign], place: LinedPlace) -> TriangleMesh:
    """Return the part of the body's surface round an anchor that tape lines bound.

    Raises
    ------
    DesignError
        When a line is not drawn or cannot be laid on the body, or the anchor lies on one.
    """
    form = Form(body.mesh, 0.0, body)
    wanted = {one.name: one for name in place.lines for one in lines_below(name, lines)}
    lined = line_the_form(body.mesh, lay_tape_lines(form, tuple(wanted.values())))
    design = PatchDesign("padding", place.lines, place.inside)
    region = patch_region(lined, design, [(place.inside, place_anchor(form, place.inside))])
    return lined.mesh.faces_only(region)[0]
