"""Which of a job's parts a traced piece is, and what was changed on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from fitkit.drawing.drawing import Drawing
from fitkit.errors import InputError, PhotoError
from fitkit.findings import Finding, Severity
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.template.blank_edges import BlankEdges, blank_edges
from fitkit.template.correction import Correction, TracedHole
from fitkit.template.mirror import mirrored_name
from fitkit.template.template import part_title
from fitkit.trace.corrected_edges import corrected_edges
from fitkit.trace.even_outline import EvenRun, even_outline
from fitkit.trace.outline_match import OutlineMatch, best_lie, match_outlines
from fitkit.trace.trace_pieces import TracedPiece

__all__ = ["CorrectedPart", "KnownPart", "corrected_part", "known_parts"]

# A piece this unlike every part is none of them.
_MOST_UNLIKE = 0.3
# With the part's own tag on it, it may be changed as far as this.
_MOST_UNLIKE_OF_TAG = 0.6
# The next likeliest part must be this much less like it.
_CLEARER = 0.03
# What lies this near to something printed is the print, not the maker's pencil.
_PRINTED_MM = 1.6
_SAME_HOLE_MM = 2.5
_MOVED_MM = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class KnownPart:
    """A part of the job that a piece may be.

    Attributes
    ----------
    number, title
        As on its template.
    flat
        Its blank, as the patch is drawn.
    correction
        What has been corrected on it already.
    twin
        Whether it is the mirrored one.
    outline_mm
        Its cut line on the flat, mirrored for a twin, counter-clockwise.
    """

    number: int
    title: str
    flat: FlatPatch
    correction: Correction | None
    twin: bool
    outline_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class CorrectedPart:
    """A piece laid over its part.

    Attributes
    ----------
    part
        Which part it is.
    correction
        What the job has to keep so that the part's cut line becomes the piece's outline.
    old_mm, new_mm
        Cut line before and as traced, up along +y.
    largest_mm
        Largest move outwards and inwards by tape line, mm.
    unlike
        Area only one of the two covers, as a share of the part's.
    runs
        Its longer edges that are all but straight or round.
    """

    part: KnownPart
    correction: Correction
    old_mm: Floats
    new_mm: Floats
    largest_mm: dict[str, tuple[float, float]]
    unlike: float
    runs: tuple[EvenRun, ...] = ()
    findings: tuple[Finding, ...] = ()


def known_parts(
    flat: FlatPatch, number: int, correction: Correction | None
) -> tuple[KnownPart, ...]:
    """Return the part that a blank is, and its twin."""
    design = flat.design
    outline = blank_edges(flat, correction).outline.points_mm
    title = part_title(design.name, design.side)
    parts = [KnownPart(number, title, flat, correction, False, outline)]
    if design.paired:
        across = (outline * np.array([-1.0, 1.0]))[::-1]
        title = part_title(mirrored_name(design.name), design.side.other)
        parts.append(KnownPart(number + 1, title, flat, correction, True, across))
    return tuple(parts)


def corrected_part(
    piece: TracedPiece,
    parts: Sequence[KnownPart],
    drawings: Sequence[Drawing],
    *,
    name: str | None = None,
    even: bool = False,
) -> CorrectedPart:
    """Return which part a piece is and what was changed on it.

    Parameters
    ----------
    piece
        As traced, its outside up.
    parts, drawings
        The job's parts and, of each, the template's drawing of the side the patch is drawn on.
    name
        Title, number or patch of the part it is, where the maker says so.
    even
        Whether edges that are all but straight or round are taken as truly so.

    Raises
    ------
    InputError
        When there is no part of that name.
    PhotoError
        When the piece is like none of the parts, or like two of them.
    """
    evened, runs = even_outline(piece.outline_mm)
    if even:
        piece = replace(piece, outline_mm=evened)
    match = _matched(piece, parts, name)
    part, drawing = parts[match.index], drawings[match.index]

    def on_flat(points: Floats) -> Floats:
        laid = match.to_part(points)
        return laid * np.array([-1.0, 1.0]) if part.twin else laid

    laid = on_flat(piece.outline_mm)
    laid = laid[::-1] if part.twin else laid
    before = blank_edges(part.flat)
    now = blank_edges(part.flat, part.correction)
    moved = corrected_edges(
        part.flat.design.name,
        [edge.line for edge in before.edges],
        [edge.points_mm for edge in before.edges],
        before.widths_mm,
        laid,
    )
    holes, pencil = _marks(piece, on_flat, now, drawing)
    correction = replace(
        moved,
        holes=tuple(TracedHole(round(x, 1), round(y, 1), round(d, 1)) for (x, y), d in holes),
        pencil_mm=tuple(np.round(line, 1) for line in pencil),
    )
    after = blank_edges(part.flat, correction)
    return CorrectedPart(
        part,
        correction,
        _shown(now.outline.points_mm, before, part.twin),
        _shown(laid, before, part.twin),
        _largest(part.flat, part.correction, correction),
        match.unlike,
        runs,
        (*after.outline.findings, *_seam_findings(part.flat, now, after)),
    )


def _matched(piece: TracedPiece, parts: Sequence[KnownPart], name: str | None) -> OutlineMatch:
    if name is not None:
        index = _named(parts, name)
        return best_lie(piece.outline_mm, parts[index].outline_mm, index)
    told = [index for index, part in enumerate(parts) if part.number == piece.part_number]
    if told:
        match = best_lie(piece.outline_mm, parts[told[0]].outline_mm, told[0])
        if match.unlike <= _MOST_UNLIKE_OF_TAG:
            return match
    matches = match_outlines(piece.outline_mm, [part.outline_mm for part in parts])
    if not matches or matches[0].unlike > _MOST_UNLIKE:
        raise PhotoError(
            "The piece is like none of the job's parts"
            + (f" (nearest: {parts[matches[0].index].title})." if matches else "."),
            "Say which part it is with --part, or check that the templates are those it was cut "
            "from.",
        )
    best = matches[0]
    upright = [match for match in matches if not match.turned_over]
    if best.turned_over:
        # A twin's outline is the other one turned over: only a clearly better lie counts.
        if not upright or upright[0].unlike > best.unlike + _CLEARER:
            raise PhotoError(
                f"The piece lies with its outside down: turned over it is like "
                f"{parts[best.index].title}.",
                "Turn it so that the printed side is up and take the photo again.",
            )
        best = upright[0]
    others = [match for match in upright if match.index != best.index]
    if others and others[0].unlike < best.unlike + _CLEARER:
        raise PhotoError(
            f"The piece may be {parts[best.index].title} or {parts[others[0].index].title}.",
            "Say which with --part.",
        )
    return best


def _named(parts: Sequence[KnownPart], name: str) -> int:
    wanted = " ".join(name.lower().split())
    for index, part in enumerate(parts):
        if wanted in {part.title.lower(), str(part.number), f"{part.number} {part.title}".lower()}:
            return index
    for index, part in enumerate(parts):
        if wanted == part.flat.design.name.lower():
            return index
    known = ", ".join(part.title for part in parts)
    raise InputError(f"There is no part called '{name}'.", f"Use one of: {known}.")


def _marks(
    piece: TracedPiece, on_flat: object, now: BlankEdges, drawing: Drawing
) -> tuple[list[tuple[tuple[float, float], float]], list[Floats]]:
    """Return holes and pencil lines that are not on the template already, from the middle."""
    assert callable(on_flat)
    printed = shapely.union_all(
        [shapely.LineString(stroke.points_mm) for stroke in drawing.strokes]
    ).buffer(_PRINTED_MM)
    holes = []
    for hole in piece.round_holes:
        at = on_flat(np.array([hole.centre_mm]))
        place = now.on_paper(at)[0]
        if all(np.linalg.norm(place - drawn.centre_mm) > _SAME_HOLE_MM for drawn in drawing.holes):
            x, y = now.from_middle(at)[0]
            holes.append(((float(x), float(y)), hole.diameter_mm))
    pencil = []
    for line in piece.pencil_mm:
        flat = on_flat(line)
        own = shapely.LineString(now.on_paper(flat))
        if shapely.intersection(own, printed).length < 0.7 * own.length:
            pencil.append(now.from_middle(flat))
    return holes, pencil


def _shown(points: Floats, blank: BlankEdges, twin: bool) -> Floats:
    told = blank.from_middle(points)
    return (told * np.array([-1.0, 1.0]))[::-1] if twin else told


def _largest(
    flat: FlatPatch, before: Correction | None, after: Correction
) -> dict[str, tuple[float, float]]:
    """Return by tape line how far its edge moves outwards and inwards at most, from now on."""
    now, then = blank_edges(flat, before), blank_edges(flat, after)
    moved: dict[str, tuple[float, float]] = {}
    for old, new in zip(now.edges, then.edges, strict=True):
        ahead = np.gradient(old.points_mm, axis=0)
        outward = np.column_stack([ahead[:, 1], -ahead[:, 0]])
        outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-12)
        out = np.sum((new.points_mm - old.points_mm) * outward, axis=1)
        if np.abs(out).max() < _MOVED_MM:
            continue
        most, least = moved.get(old.line, (0.0, 0.0))
        moved[old.line] = (max(most, float(out.max())), min(least, float(out.min())))
    return moved


def _seam_findings(flat: FlatPatch, now: BlankEdges, after: BlankEdges) -> list[Finding]:
    """Say where an edge that meets a neighbour has become longer or shorter."""
    findings = []
    for old, new in zip(now.edges, after.edges, strict=True):
        change = _length(new.points_mm) - _length(old.points_mm)
        if abs(change) >= 1.0:
            findings.append(
                Finding(
                    "edge-length-changed",
                    Severity.NOTE,
                    flat.design.name,
                    f"Its edge along '{old.line}' becomes {abs(change):.1f} mm "
                    f"{'longer' if change > 0 else 'shorter'}; a neighbour that meets it there "
                    "has to follow.",
                    number=round(change, 2),
                    unit="mm",
                )
            )
    return findings


def _length(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
