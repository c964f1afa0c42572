"""From a blank to the drawing that is printed, cut and read: the step itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitkit.body.side import Side
from fitkit.drawing.drawing import Hole
from fitkit.flatten.edge_names import cut_edge_name, edge_treatment
from fitkit.flatten.flat_patch import FlatCut, FlatEdge, FlatMount, FlatPatch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.flatten.sheet_demand import SheetDemand, sheet_demand
from fitkit.flatten.way_up import way_up
from fitkit.geometry.arrays import Floats
from fitkit.holding.fixing import Fixing
from fitkit.holding.seat import FlatSeat
from fitkit.patch.design import EdgeTreatment, PatchDesign
from fitkit.template.blank_edges import BlankEdges, blank_edges, shown_line
from fitkit.template.correction import Correction
from fitkit.template.edge_allowance import EdgeAllowance, edge_allowance
from fitkit.template.hole_findings import hole_findings
from fitkit.template.mark_numbers import MarkNumbers
from fitkit.template.match_marks import match_marks
from fitkit.template.mirror import mirrored_name, mirrored_part
from fitkit.template.part import GRAIN, MatchMark, NamedLine, Part
from fitkit.template.part_drawing import part_drawing
from fitkit.template.revision import revision_of
from fitkit.template.rivet_joint import RivetHoles, strap_width_mm
from fitkit.template.stretch_contours import stretch_contours
from fitkit.template.template import Template, part_title
from fitkit.template.words import Block

__all__ = ["make_templates"]

_BETWEEN = " · "
_PENCIL = "pencil"
_FORMED = {
    "roll": "roll",
    "dish": "dish",
    "raise": "raise",
    "balanced": "dish and raise",
    "soft": "ease onto the form",
}


def make_templates(
    flat: FlatPatch,
    *,
    number: int,
    job_name: str,
    wearer: str,
    revision: str = "",
    correction: Correction | None = None,
    rivets: Sequence[RivetHoles] = (),
    numbers: MarkNumbers | None = None,
    art_mm: Sequence[Floats] = (),
    twin_art_mm: Sequence[Floats] = (),
    seats: Sequence[FlatSeat] = (),
    twin_seats: Sequence[FlatSeat] = (),
    trims: Sequence[NamedLine] = (),
    trim_words: str = "",
) -> tuple[Template, ...]:
    """Return the template of a blank; for a paired design the mirrored twin's as well.

    Parameters
    ----------
    flat
        The blank, seen from the plate's outside.
    number
        Part number of the drawn one; its twin gets the next.
    job_name, wearer, revision
        As written on the drawing; the revision with the part's own mark.
    correction
        What the maker changed on a card piece of it, if anything; the twin gets it mirrored.
    rivets
        Rows of rivet holes in this blank.
    numbers
        Of the match marks of all the job's blanks; without them this one is numbered by itself.
    art_mm, twin_art_mm
        Lines of emblems on the flat, (N, 2) mm each, and those that the twin bears mirrored.
    seats, twin_seats
        What is fastened to it, and what the twin bears mirrored.
    trims, trim_words
        Lines on the flat along which the maker may cut more off, and what that is for.

    Returns
    -------
    templates
        The drawn part, then its twin. Both lie with the wearer's up along +y and the cut line's
        lower left at the origin. The twin's lines are mirrored, its words are not.
    """
    design = flat.design
    blank = blank_edges(flat, correction)
    part = _part_of(flat, blank, correction, rivets, numbers)
    offered = [NamedLine(line.name, blank.on_paper(line.points_mm)) for line in trims]
    part = replace(part, inner_lines=(*part.inner_lines, *offered))
    noticed = (
        *flat.findings,
        *blank.outline.findings,
        *hole_findings(flat, blank, rivets, (*seats, *twin_seats)),
    )
    shown = way_up(flat.form, flat.flat_mm).shown
    way = None if shown == "any" else shown.upper()
    forming = _forming_words(sheet_demand(flat))
    art, twin_art = (
        tuple(blank.on_paper(line) for line in lines) for lines in (art_mm, twin_art_mm)
    )
    sides = [design.side]
    parts = [_with_seats(replace(part, art=art), seats, blank)]
    if design.paired:
        sides.append(design.side.other)
        twin_part = _with_seats(replace(part, art=twin_art), twin_seats, blank)
        parts.append(mirrored_part(twin_part))
    templates = []
    for twin, (one, side) in enumerate(zip(parts, sides, strict=True)):
        name = mirrored_name(design.name) if twin else design.name
        stand = revision_of(one, revision)
        whose = _BETWEEN.join(word for word in (job_name, wearer, f"rev {stand}") if word)
        borne = (
            [
                (mirrored_name(seat.name), mirrored_name(seat.words), seat.fixing)
                for seat in twin_seats
            ]
            if twin
            else [(seat.name, seat.words, seat.fixing) for seat in seats]
        )
        told = [words for _, words, _ in borne]
        trimmed = mirrored_name(trim_words) if twin else trim_words
        block = _block(flat, name, side, number + twin, forming, whose, rivets, [*told, trimmed])
        title = f"{number + twin} {part_title(name, side)}"
        drawing, findings = part_drawing(one, block, name=title, way=way, number=number + twin)
        templates.append(
            Template(
                number=number + twin,
                name=name,
                side=side,
                drawing=drawing,
                outline_mm=one.cut_mm,
                material=design.material,
                thickness_mm=design.thickness_mm,
                stretch_range=(float(flat.stretch.min()), float(flat.stretch.max())),
                findings=(*noticed, *findings),
                revision=stand,
                fastened=tuple(dict.fromkeys(told)),
                fastened_by=tuple(
                    dict.fromkeys((seat, fixing) for seat, _, fixing in borne if fixing != Fixing())
                ),
            )
        )
    return tuple(templates)


def _forming_words(demand: SheetDemand) -> str:
    """Return how the part is made and how its blank's size differs from the plate's own."""
    if demand.only_bent:
        return "bend only"
    cut = 100.0 * (demand.size - 1.0)
    size = f"blank {abs(cut):.1f} % {'small' if cut < 0 else 'large'}" if abs(cut) >= 0.05 else ""
    return _BETWEEN.join(word for word in (_FORMED[demand.forming], size) if word)


def _block(
    flat: FlatPatch,
    name: str,
    side: Side,
    number: int,
    forming: str,
    job_words: str,
    rivets: Sequence[RivetHoles],
    fastened: Sequence[str],
) -> Block:
    design = flat.design
    whose = "wearer's middle" if side is Side.CENTRE else f"wearer's {side.value.upper()}"
    lines = [
        f"{whose} · cut 1",
        f"{design.material} {design.thickness_mm:g} mm",
        forming,
        f"outside shown · {_grain_words(flat)}",
        job_words,
    ]
    if flat.cuts:
        lines.append(_cuts_in_words(flat.cuts, edge_treatment(design, cut_edge_name(1))))
    if any(edge_allowance(edge, design.thickness_mm).turned for edge in design.edges.values()):
        lines.append("turn edges away from the skin")
    lines += dict.fromkeys(row.in_words() for row in rivets)
    lines += dict.fromkeys(fastened)
    if design.note:
        lines.append(design.note)
    return Block(f"{number}  {name}", tuple(line for line in lines if line))


def _grain_words(flat: FlatPatch) -> str:
    drawn = any(line.line == GRAIN for line in flat.inner_lines)
    return "grain along its arrow" if drawn else "grain any way"


def _cuts_in_words(cuts: Sequence[FlatCut], treatment: EdgeTreatment) -> str:
    many = f"{len(cuts)} relief cut{'s' * (len(cuts) > 1)}"
    hole = cuts[0].stop_hole_mm
    first = f"drill {hole:.3g} mm at each tip first · then cut" if hole > 0 else "cut to the tip"
    words = f"{many}: {first} · close edge to edge"
    if treatment.rivets is not None:
        wide = strap_width_mm(treatment)
        longest = max(cut.length_mm for cut in cuts)
        words += f" · rivet a row each side over a strap behind, {wide:.0f} × {longest:.0f} mm"
    return words


def _edge_words(design: PatchDesign, edge: FlatEdge, allowance: EdgeAllowance) -> str:
    """Return what stands along an edge: its line, and what is done there unless it is a lap."""
    name = shown_line(design, edge.line)
    told = allowance.words and edge_treatment(design, edge.line).kind != "lap"
    return f"{name}: {allowance.words}" if told else name


def mount_mark(mount: FlatMount) -> MatchMark:
    """Return the tick on a footprint that the attachment's own mark meets."""
    inward = mount.footprint_mm.mean(axis=0) - mount.up_mm
    return MatchMark(mount.up_mm, inward / np.linalg.norm(inward), "up", mount.name, False)


def _with_seats(part: Part, seats: Sequence[FlatSeat], blank: BlankEdges) -> Part:
    """Return a part with the holes and footprints of what is fastened to it."""
    place = blank.on_paper
    covered = [seat for seat in seats if len(seat.outline_mm)]
    return replace(
        part,
        holes=(
            *part.holes,
            *(Hole(place(hole), seat.hole_mm) for seat in seats for hole in seat.holes_mm),
        ),
        footprints=(
            *part.footprints,
            *(NamedLine(seat.name, place(seat.outline_mm)) for seat in covered),
        ),
        inner_lines=(
            *part.inner_lines,
            *(NamedLine("slot", place(slot)) for seat in seats for slot in seat.slots_mm),
        ),
    )


def _part_of(
    flat: FlatPatch,
    blank: BlankEdges,
    correction: Correction | None,
    rivets: Sequence[RivetHoles],
    numbers: MarkNumbers | None,
) -> Part:
    """Return the blank turned upright, with allowances, marks and named lines."""
    design = flat.design
    widths = blank.widths_mm
    place = blank.on_paper
    marks = match_marks(blank.edges, formed_edges(flat), widths, patch=design.name, numbers=numbers)
    edges = tuple(
        NamedLine(_edge_words(design, edge, allowance), place(edge.points_mm))
        for edge, allowance in zip(blank.edges, blank.allowances, strict=True)
    )
    holes = [Hole(place(cut.tip_mm), cut.stop_hole_mm) for cut in flat.cuts if cut.stop_hole_mm > 0]
    holes += [Hole(place(hole), mount.hole_mm) for mount in flat.mounts for hole in mount.holes_mm]
    holes += [
        Hole(place(hole), row.drill_mm) for row in rivets if not row.later for hole in row.holes_mm
    ]
    pencil = []
    if correction is not None:
        holes += [
            Hole(place(blank.on_flat(np.array([[hole.x_mm, hole.y_mm]])))[0], hole.diameter_mm)
            for hole in correction.holes
        ]
        pencil = [NamedLine(_PENCIL, place(blank.on_flat(told))) for told in correction.pencil_mm]
    return Part(
        place(np.concatenate([edge.points_mm[:-1] for edge in blank.edges])),
        place(blank.outline.points_mm),
        edges,
        # Where the strip is turned, the fold line tells where it begins.
        tuple(
            edge
            for edge, allowance in zip(edges, blank.allowances, strict=True)
            if allowance.width_mm > 0 and not allowance.turned
        ),
        (
            *(NamedLine(inner.line, place(inner.points_mm)) for inner in flat.inner_lines),
            *pencil,
        ),
        tuple(
            MatchMark(
                place(mark.at_mm),
                mark.inward @ blank.upright.T,
                mark.label,
                shown_line(design, mark.line),
                mark.crossing,
                mark.outward_mm,
            )
            for mark in [*marks, *(mount_mark(mount) for mount in flat.mounts)]
        ),
        tuple(holes),
        tuple(NamedLine(mount.name, place(mount.footprint_mm)) for mount in flat.mounts),
        tuple(NamedLine(fold.name, place(fold.points_mm)) for fold in blank.fold_lines()),
        contours=tuple(
            NamedLine(line.name, place(line.points_mm)) for line in stretch_contours(flat)
        )
        if design.contours
        else (),
    )
