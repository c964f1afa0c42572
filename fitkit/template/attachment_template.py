"""The template of what stands on a plate: its blank with tabs, laps, holes and words."""

from __future__ import annotations

import numpy as np
import shapely

from fitkit.body.side import Side
from fitkit.drawing.drawing import Hole
from fitkit.flatten.attachment_blank import AttachmentBlank
from fitkit.geometry.arrays import Floats
from fitkit.template.mirror import mirrored_name, part_and_twin
from fitkit.template.outline import cut_outline
from fitkit.template.part import MatchMark, NamedLine, Part
from fitkit.template.part_drawing import part_drawing
from fitkit.template.revision import revision_of
from fitkit.template.template import Template, part_title
from fitkit.template.words import Block

__all__ = ["attachment_templates"]

# Tabs reach this far into the blank, so that they are one piece with it.
_INTO_BLANK_MM = 0.05
_HOW = {
    "cone": "roll",
    "tube": "roll",
    "spike": "fold along the lines",
    "fin": "stands on edge, tabs to either side by turns",
    "dome": "dish the petals, close edge to edge",
}


def attachment_templates(
    blank: AttachmentBlank,
    *,
    number: int,
    side: Side,
    paired: bool,
    job_name: str,
    wearer: str,
    revision: str = "",
) -> tuple[Template, ...]:
    """Return the template of an attachment; on a paired plate the mirrored twin's as well.

    Parameters
    ----------
    number
        Part number of the drawn one; its twin gets the next.
    side
        The wearer's side that its plate is on.
    """
    design = blank.design
    part = _part_of(blank)
    templates = []
    for twin, one, where in part_and_twin(part, side, paired=paired):
        name = mirrored_name(design.name) if twin else design.name
        on = mirrored_name(design.on) if twin else design.on
        title = f"{number + twin} {part_title(name, where)}"
        stand = revision_of(one, revision)
        lines = [
            f"on '{on}' · cut 1",
            f"{design.material} {design.thickness_mm:g} mm",
            _HOW[design.kind],
            "outside shown",
            " · ".join(word for word in (job_name, wearer, f"rev {stand}") if word),
            design.note,
        ]
        if blank.tabs:
            lines.insert(3, f"bend the tabs out · {design.hole_mm:g} mm holes meet the plate's")
        block = Block(f"{number + twin}  {name}", tuple(line for line in lines if line))
        drawing, findings = part_drawing(one, block, name=title, way=None, number=number + twin)
        templates.append(
            Template(
                number=number + twin,
                name=name,
                side=where,
                drawing=drawing,
                outline_mm=one.cut_mm,
                material=design.material,
                thickness_mm=design.thickness_mm,
                stretch_range=blank.stretch_range,
                findings=(*blank.findings, *findings),
                revision=stand,
            )
        )
    return tuple(templates)


def _part_of(blank: AttachmentBlank) -> Part:
    design = blank.design
    edges = [NamedLine(edge.line, edge.points_mm) for edge in blank.edges]
    widths = [design.seam_lap_mm if number == blank.lapped else 0.0 for number in range(len(edges))]
    outline = cut_outline(design.name, edges, widths).points_mm
    cut = _with_tabs(outline, blank)
    corner = cut.min(axis=0)

    def moved(one: NamedLine) -> NamedLine:
        return NamedLine(one.name, one.points_mm - corner)

    lapped = [edge for edge, width in zip(edges, widths, strict=True) if width > 0]
    if blank.tabs:
        lapped += [edge for edge in edges if edge.name == "foot"]
    return Part(
        np.concatenate([edge.points_mm[:-1] for edge in edges]) - corner,
        cut - corner,
        tuple(moved(edge) for edge in edges),
        tuple(moved(edge) for edge in lapped),
        tuple(NamedLine("fold", bend - corner) for bend in blank.bends_mm),
        (MatchMark(blank.up_mm - corner, blank.up_inward, "up", "foot", False),),
        (
            *(
                Hole(cut_.tip_mm - corner, cut_.stop_hole_mm)
                for cut_ in blank.stop_holes
                if cut_.stop_hole_mm > 0
            ),
            *(Hole(tab.hole_at_mm - corner, design.hole_mm) for tab in blank.tabs),
        ),
    )


def _with_tabs(outline: Floats, blank: AttachmentBlank) -> Floats:
    """Return the outline with the tabs grown onto it, (N, 2) mm counter-clockwise."""
    if not blank.tabs:
        return outline
    tabs = []
    for tab in blank.tabs:
        a, b, c, d = tab.corners_mm
        inward = 0.5 * (a + b) - 0.5 * (c + d)
        inward = inward / np.linalg.norm(inward)
        # Between a tab's corners the foot may bow either way: reach past it.
        into = (_INTO_BLANK_MM + _bow_mm(blank, a, b, inward)) * inward
        tabs.append(shapely.Polygon([a + into, b + into, b, c, d, a]))
    whole = shapely.union_all([shapely.Polygon(outline), *tabs])
    largest = max(shapely.get_parts(whole), key=lambda piece: float(piece.area))
    ring = shapely.get_coordinates(shapely.orient_polygons(largest).exterior)[:-1]
    gap = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1)
    kept: Floats = ring[gap > 1e-6]
    return kept


def _bow_mm(blank: AttachmentBlank, a: Floats, b: Floats, inward: Floats) -> float:
    """Return how far the foot bows into the blank between two of its points."""
    along = (b - a) / np.linalg.norm(b - a)
    bow = 0.0
    for edge in blank.edges:
        if edge.line != "foot":
            continue
        off = edge.points_mm - a
        between = (off @ along > 0.0) & (off @ along < np.linalg.norm(b - a))
        near = between & (np.abs(off @ inward) < np.linalg.norm(b - a))
        bow = max(bow, float((off[near] @ inward).max(initial=0.0)))
    return bow
