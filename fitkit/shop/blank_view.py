"""A part's blank as the build book shows it: lines, holes, and where to stretch and gather.

Told in lines and dots alone, so that it reads in black and white: unbroken contours and hatching
where the sheet must gain area, broken contours and dots where it must lose some.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from fitkit.drawing.drawing import Layer
from fitkit.flatten.stretch import (
    area_strain,
    at_flat_vertices,
    governing_strain,
    strain_contour_levels,
)
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.section import plane_sections
from fitkit.shop.plan_facts import PlanFacts
from fitkit.shop.scanned_relief import scanned_relief
from fitkit.template.template import Template

__all__ = ["BlankView", "Contour", "EdgeName", "blank_view"]

# Less area than this gained or lost is left white.
_LEAST_PERCENT = 0.3
# Shares of the largest gain or loss from which hatching starts, and from which it is close.
_FROM, _CLOSE_FROM = 0.3, 0.65
# Lines of hatching across the blank's larger side.
_HATCHES = 34
_DOTS = 44
# Contours are drawn no finer.
_FINE_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """A line of one strain: ``percent`` and (N, 2) float mm."""

    percent: float
    points_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class EdgeName:
    """Where an edge's name is written: (2,) float mm on the edge, (2,) unit outwards."""

    name: str
    at_mm: Floats
    outward: Floats


@dataclass(frozen=True, slots=True, eq=False)
class BlankView:
    """What is drawn of a blank, in the template's own millimetres.

    Attributes
    ----------
    cut_mm
        (N, 2): the cut line.
    lines
        Of the template by layer: edges under laps, folds, tape lines across it.
    holes_mm
        (H, 3): centre and diameter.
    names
        Of its edges.
    contours
        Area gained or lost.
    hatching_mm
        (K, 2, 2): strokes where the sheet must gain area, closer where more.
    dots_mm
        (D, 2): where it must lose area, closer where more.
    worst_mm
        (2,): the worst spot, and ``worst`` its strain in words; None where nothing is strained.
    """

    cut_mm: Floats
    lines: tuple[tuple[Layer, Floats], ...]
    holes_mm: Floats
    names: tuple[EdgeName, ...] = ()
    contours: tuple[Contour, ...] = ()
    hatching_mm: Floats | None = None
    dots_mm: Floats | None = None
    worst_mm: Floats | None = None
    worst: str = ""

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the cut line."""
        width, height = np.ptp(self.cut_mm, axis=0)
        return float(width), float(height)


def blank_view(template: Template, facts: PlanFacts | None = None) -> BlankView:
    """Return how a part's blank is shown.

    Parameters
    ----------
    facts
        Of the patch it was drawn from; a twin's strain is mirrored with it. None for a part that
        has no patch of its own: it is shown without strain.
    """
    drawing = template.drawing
    shown = (Layer.EDGE, Layer.BEND, Layer.GRAIN)
    lines = tuple((s.layer, s.points_mm) for s in drawing.strokes if s.layer in shown)
    holes = [[*hole.centre_mm, hole.diameter_mm] for hole in drawing.holes]
    view = BlankView(template.outline_mm, lines, np.reshape(np.array(holes), (-1, 3)))
    return view if facts is None else _with_strain(view, facts)


def _with_strain(view: BlankView, facts: PlanFacts) -> BlankView:
    flat = facts.flat
    width = view.size_mm[0]

    def placed(points: Floats) -> Floats:
        laid = facts.blank.on_paper(points)
        if facts.twin:
            laid = laid * np.array([-1.0, 1.0]) + np.array([width, 0.0])
        return laid

    names = _edge_names(facts, placed(np.concatenate([e.points_mm for e in facts.blank.edges])))
    view = replace(view, names=names)
    percent = 100.0 * area_strain(flat.stretch)
    governing = 100.0 * governing_strain(flat.stretch)
    if np.abs(governing).max(initial=0.0) < _LEAST_PERCENT:
        return view
    values = at_flat_vertices(percent, flat.flat_mm, flat.faces)
    relief = TriangleMesh(np.column_stack([placed(flat.flat_mm), values]), flat.faces)
    reach = float(np.abs(values).max())
    worst = int(np.argmax(np.abs(governing)))
    kind = "stretch" if governing[worst] > 0 else "shrink"
    return replace(
        view,
        contours=_contours(relief),
        hatching_mm=_hatching(relief, reach),
        dots_mm=_dots(relief, reach),
        worst_mm=placed(flat.flat_mm[flat.faces[worst]].mean(axis=0)[None])[0],
        worst=f"{kind} {abs(governing[worst]):.1f} %",
    )


def _edge_names(facts: PlanFacts, laid: Floats) -> tuple[EdgeName, ...]:
    """Return each edge's name at its middle; an edge met twice is named where it is longer."""
    names: dict[str, tuple[float, EdgeName]] = {}
    start = 0
    for edge in facts.blank.edges:
        points = laid[start : start + len(edge.points_mm)]
        start += len(edge.points_mm)
        arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        ends = np.clip(0.5 * arc[-1] + np.array([-5.0, 0.0, 5.0]), 0.0, arc[-1])
        a, middle, b = (np.array([np.interp(s, arc, points[:, k]) for k in (0, 1)]) for s in ends)
        ahead = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        outward = np.array([ahead[1], -ahead[0]]) * (-1.0 if facts.twin else 1.0)
        name = facts.called(edge.line)
        if name not in names or names[name][0] < arc[-1]:
            names[name] = float(arc[-1]), EdgeName(name, middle, outward)
    return tuple(one for _, one in names.values())


def _contours(relief: TriangleMesh) -> tuple[Contour, ...]:
    """Return the lines of equal strain: level sections through the relief of strain."""
    height = relief.vertices[:, 2]
    return tuple(
        Contour(level, _simpler(path.round_points_mm[:, :2]))
        for level in strain_contour_levels(float(height.min()), float(height.max()))
        for path in plane_sections(relief, (0.0, 0.0, level), (0.0, 0.0, 1.0))
        if path.length_mm() > 0
    )


def _hatching(relief: TriangleMesh, reach: float) -> Floats:
    across = np.array([1.0, -1.0]) / np.sqrt(2.0)
    return np.concatenate(
        [
            scanned_relief(relief, across, _span(relief) / _HATCHES, phase).strokes_above(
                max(share * reach, _LEAST_PERCENT)
            )
            for share, phase in ((_FROM, 0.0), (_CLOSE_FROM, 0.5))
        ]
    )


def _dots(relief: TriangleMesh, reach: float) -> Floats:
    pitch = _span(relief) / _DOTS
    dots = []
    for share, phase in ((_FROM, 0.0), (_CLOSE_FROM, 0.5)):
        scanned = scanned_relief(relief, np.array([0.0, 1.0]), pitch, phase)
        # Every other row is off by half a step.
        shift = np.asarray(0.5 * pitch * ((scanned.row + (phase > 0)) % 2), dtype=np.float64)
        dots.append(scanned.places_below(-max(share * reach, _LEAST_PERCENT), pitch, shift))
    return np.concatenate(dots)


def _span(relief: TriangleMesh) -> float:
    """Return the larger side of the blank."""
    return float(np.ptp(relief.vertices[:, :2], axis=0).max())


def _simpler(points: Floats) -> Floats:
    """Return a line of fewer points that lies within a tenth of a millimetre of all."""
    line: Floats = shapely.get_coordinates(shapely.simplify(shapely.LineString(points), _FINE_MM))
    return line
