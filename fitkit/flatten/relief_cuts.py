"""Relief cuts: slits from a patch's edge inwards that open as V-notches on the blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.flatten.cut_border import with_cut_border
from fitkit.flatten.edge_names import cut_edge_name
from fitkit.flatten.flat_patch import FlatCut, FlatLine
from fitkit.flatten.form_to_flat import on_flat
from fitkit.flatten.remesh import place_on_faces
from fitkit.flatten.seam import OpenedPatch
from fitkit.flatten.slit_disk import FlatDisk, StraightCut, cuts_that_clash, slit_disk
from fitkit.geometry.arrays import Floats, Ints, frozen_floats
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import InnerLine

__all__ = [
    "CutOpen",
    "SurfaceCut",
    "carried_past_cuts",
    "cut_findings",
    "cut_open",
    "flat_cuts",
    "stop_hole_mm",
]

# A line's end on a cut is moved off it by this much, to fall on its own side.
_OFF_CUT_MM = 1e-4
# Sheets that are cut to a sharp point: a knife leaves no crack that grows. Common practice.
_NO_STOP_HOLE = ("card", "leather")
_FOAM_HOLE_MM = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceCut:
    """Where a cut begins, near the patch's edge, and where it ends: (3,) float mm on the form."""

    edge_mm: Floats
    tip_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "edge_mm", frozen_floats(self.edge_mm, (3,), "edge_mm"))
        object.__setattr__(self, "tip_mm", frozen_floats(self.tip_mm, (3,), "tip_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class CutOpen:
    """A patch with its relief cuts.

    Attributes
    ----------
    disk
        Slit; both sides of each cut are edges of its border.
    start_mm
        (V, 2) float mm: the flat map it was slit on.
    cuts
        Straight on that map.
    """

    disk: OpenedPatch
    start_mm: Floats
    cuts: tuple[StraightCut, ...]


def stop_hole_mm(design: PatchDesign) -> float:
    """Return the diameter of the hole that ends each cut, 0 for a sharp point.

    For metal the smallest relief hole of the FAA's handbook, rounded up to a drill in stock: 1/8 in
    up to 0.064 in of sheet, 3/16 in up to 0.128 in (FAA-H-8083-31, *Aviation Maintenance
    Technician Handbook: Airframe*, Layout and Forming); twice the thickness beyond. Foam gets a
    punched 3 mm; card and leather a sharp point (common practice, no source).
    """
    if design.stop_hole_mm is not None:
        return design.stop_hole_mm
    material = design.material.lower()
    if material in _NO_STOP_HOLE:
        return 0.0
    if material == "foam":
        return _FOAM_HOLE_MM
    if design.thickness_mm <= 0.064 * 25.4:
        return 3.2
    return max(4.8, 2.0 * design.thickness_mm)


def cut_open(name: str, disk: OpenedPatch, flat_mm: Floats, cuts: Sequence[SurfaceCut]) -> CutOpen:
    """Return a patch slit along its relief cuts, each straight on a flat map of it.

    Parameters
    ----------
    disk, flat_mm
        The patch and a flat map of it that does not lie over itself, (V, 2) mm.
    cuts
        Each begins at the place of the patch's edge nearest to its ``edge_mm``.

    Raises
    ------
    DesignError
        When a cut leaves the patch, is too short to cut, or comes too near to another; the cause
        names it by its number in the list.
    """
    flat_disk = FlatDisk(disk.mesh, flat_mm, disk.round)
    ends = np.concatenate([[cut.edge_mm, cut.tip_mm] for cut in cuts])
    at, faces, _ = nearest_on_mesh(disk.mesh, ends)
    laid = on_flat(disk.mesh, flat_mm, at, faces)
    planned = []
    outline = flat_disk.outline().exterior
    for number in range(len(cuts)):
        edge, tip = laid[2 * number], laid[2 * number + 1]
        foot = shapely.get_coordinates(outline.interpolate(outline.project(shapely.Point(edge))))
        planned.append(StraightCut(foot[0], tip))
    clash = cuts_that_clash(flat_disk, planned)
    slit = None if clash else slit_disk(flat_disk, planned)
    if slit is None:
        number = (clash or [0])[0] + 1
        raise DesignError(
            f"The relief cut {number} of the patch '{name}' cannot be made: it is shorter than "
            f"{0.5 * flat_disk.edge_mm():.0f} mm, leaves the patch, or comes too near to the edge "
            "or to another cut.",
            "Move its place on the edge or its tip, or take it out of the patch's cuts.",
        )
    return CutOpen(with_cut_border(disk, slit), slit.start_mm, tuple(planned))


def flat_cuts(design: PatchDesign, disk: OpenedPatch, flat_mm: Floats) -> tuple[FlatCut, ...]:
    """Return each cut as it opens on the blank."""
    found: list[FlatCut] = []
    number = 1
    while True:
        sides = [s for s in disk.border if s.line == cut_edge_name(number)]
        if not sides:
            return tuple(found)
        going, coming = sides
        opening = float(np.linalg.norm(flat_mm[going.vertices[0]] - flat_mm[coming.vertices[-1]]))
        found.append(
            FlatCut(
                cut_edge_name(number),
                flat_mm[going.vertices[-1]],
                float(going.arc_mm[-1]),
                opening,
                stop_hole_mm(design),
            )
        )
        number += 1


def cut_findings(name: str, cuts: Sequence[FlatCut]) -> list[Finding]:
    """Say what the cuts of a blank come to."""
    if not cuts:
        return []
    told = ", ".join(
        f"{cut.name.removeprefix('relief cut ')}: {cut.length_mm:.0f} mm long, opens "
        f"{cut.opening_mm:.1f} mm"
        for cut in cuts
    )
    total = sum(cut.length_mm for cut in cuts)
    many = "1 relief cut" if len(cuts) == 1 else f"{len(cuts)} relief cuts"
    return [
        Finding(
            "relief-cuts",
            Severity.NOTE,
            name,
            f"It has {many}, {total:.0f} mm in all ({told}).",
            number=total,
            unit="mm",
        )
    ]


def carried_past_cuts(
    line: InnerLine, first_flat_mm: Floats, opened: CutOpen, faces: Ints, flat_mm: Floats
) -> list[FlatLine]:
    """Return an inner line on the final flat, parted where a cut crosses it.

    Parameters
    ----------
    first_flat_mm
        The map on which the line has its own vertices.
    flat_mm
        (V, 2) float mm: the final flat of the slit patch.
    """
    path = shapely.LineString(first_flat_mm[line.vertices])
    slits = shapely.union_all([cut.line() for cut in opened.cuts])
    crossings = path.intersection(slits)
    places = sorted({path.project(shapely.Point(p)) for p in shapely.get_coordinates(crossings)})
    own = np.concatenate(
        [
            [0.0],
            np.cumsum(np.linalg.norm(np.diff(first_flat_mm[line.vertices], axis=0), axis=1)),
        ]
    )
    stops = [0.0, *(p for p in places if 1e-6 < p < path.length - 1e-6), path.length]
    parts = []
    for begin, end in pairwise(stops):
        first = begin + (_OFF_CUT_MM if begin > 0.0 else 0.0)
        last = end - (_OFF_CUT_MM if end < path.length else 0.0)
        if last <= first:
            continue
        at = [first, *own[(own > first) & (own < last)], last]
        points = shapely.get_coordinates(shapely.line_interpolate_point(path, at))
        found, weights = place_on_faces(points, opened.start_mm, faces)
        carried: Floats = np.einsum("nk,nkd->nd", weights, flat_mm[faces[found]])
        parts.append(FlatLine(line.line, carried))
    return parts
