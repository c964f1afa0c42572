"""A blank's edges as they are cut: with what the maker corrected, and how wide an allowance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from fitkit.flatten.edge_names import SEAM, edge_treatment, is_cut_edge, is_seam
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.geometry.arrays import Floats
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import PatchDesign
from fitkit.template.correction import Correction, edge_frames, moved_edges
from fitkit.template.edge_allowance import EdgeAllowance, edge_allowance
from fitkit.template.outline import CutOutline, cut_outline
from fitkit.template.part import NamedLine

__all__ = ["BlankEdges", "blank_edges", "shown_line"]


@dataclass(frozen=True, slots=True, eq=False)
class BlankEdges:
    """The edges of a blank, on the flat.

    Attributes
    ----------
    edges
        In order round the blank, as corrected.
    allowances
        What is added along each.
    outline
        Where to cut.
    middle_mm, upright
        (2,) and (2, 2): the uncorrected blank's middle, and the turn that takes the wearer's up
        to +y; holes and pencil lines of a correction are told from there.
    """

    edges: tuple[FlatEdge, ...]
    allowances: tuple[EdgeAllowance, ...]
    outline: CutOutline
    middle_mm: Floats
    upright: Floats

    @property
    def widths_mm(self) -> tuple[float, ...]:
        """Width of the allowance beyond each edge."""
        return tuple(allowance.width_mm for allowance in self.allowances)

    def fold_lines(self) -> tuple[NamedLine, ...]:
        """Where the sheet folds along an edge, on the flat, in words of the treatment."""
        lines = []
        for edge, allowance in zip(self.edges, self.allowances, strict=True):
            _, _, outward = edge_frames(edge.points_mm)
            lines += [
                NamedLine(allowance.words, edge.points_mm + fold * outward)
                for fold in allowance.folds_mm
            ]
        return tuple(lines)

    def on_paper(self, points_mm: Floats) -> Floats:
        """(N, 2) float mm: places on the flat as the template shows them, up along +y.

        The cut line's lower left is the origin.
        """
        corner = (self.outline.points_mm @ self.upright.T).min(axis=0)
        placed: Floats = points_mm @ self.upright.T - corner
        return placed

    def from_middle(self, points_mm: Floats) -> Floats:
        """(N, 2) float mm: places on the flat as right and up from the blank's middle."""
        told: Floats = (points_mm - self.middle_mm) @ self.upright.T
        return told

    def on_flat(self, told_mm: Floats) -> Floats:
        """(N, 2) float mm: the reverse of :meth:`from_middle`."""
        points: Floats = told_mm @ self.upright + self.middle_mm
        return points


def blank_edges(flat: FlatPatch, correction: Correction | None = None) -> BlankEdges:
    """Return a blank's edges with a correction applied and their allowances beyond them."""
    edges = flat.outline
    rough = np.concatenate([edge.points_mm[:-1] for edge in edges])
    if correction is not None and correction.edges:
        moved = moved_edges(
            [edge.line for edge in edges], [edge.points_mm for edge in edges], correction
        )
        edges = tuple(
            replace(edge, points_mm=points) for edge, points in zip(edges, moved, strict=True)
        )
    allowances = tuple(_allowances(flat.design, edges))
    named = [NamedLine(shown_line(flat.design, edge.line), edge.points_mm) for edge in edges]
    up = flat.up
    middle = shapely.Polygon(rough).buffer(0).centroid
    return BlankEdges(
        edges,
        allowances,
        cut_outline(
            flat.design.name,
            named,
            [allowance.width_mm for allowance in allowances],
            [allowance.turned for allowance in allowances],
        ),
        np.array([middle.x, middle.y]),
        np.array([[up[1], -up[0]], [up[0], up[1]]]),
    )


def shown_line(design: PatchDesign, line: str) -> str:
    """Return what an edge's line is called on the drawing."""
    return f"seam, {design.seams[0]}" if line == SEAM and design.seams else line


def _allowances(design: PatchDesign, outline: Sequence[FlatEdge]) -> list[EdgeAllowance]:
    """Return what is added along each edge.

    A seam is one joint between two edges of the same part: its lap goes on the first of them only,
    to lie under the other. Nothing is added along a relief cut, whose notch leaves no room: it is
    riveted over a strap.
    """
    allowances: list[EdgeAllowance] = []
    bend_k = sheet_material_named(design.material).bend_k
    seams_with_lap: set[str] = set()
    for edge in outline:
        allowance = EdgeAllowance()
        if not is_cut_edge(edge.line):
            treatment = edge_treatment(design, edge.line)
            allowance = edge_allowance(treatment, design.thickness_mm, bend_k)
        if is_seam(edge.line):
            allowance = EdgeAllowance() if edge.line in seams_with_lap else allowance
            seams_with_lap.add(edge.line)
        allowances.append(allowance)
    return allowances
