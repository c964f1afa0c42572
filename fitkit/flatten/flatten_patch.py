"""Laying a patch flat: the step itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from fitkit.errors import DesignError
from fitkit.flatten.conformal_start import conformal_start, flipped_faces
from fitkit.flatten.edge_names import SEAM, is_seam
from fitkit.flatten.flat_findings import (
    ease_findings,
    length_findings,
    noise_findings,
    overlap_findings,
    roll_findings,
    sliver_findings,
    stretch_findings,
    unsettled_findings,
    way_findings,
)
from fitkit.flatten.flat_patch import FlatEdge, FlatLine, FlatPatch
from fitkit.flatten.forming_scale import forming_of, forming_scale
from fitkit.flatten.held_lines import HeldLines
from fitkit.flatten.minimax import minimise_largest_strain
from fitkit.flatten.open_patch import check_can_be_opened, open_patch
from fitkit.flatten.overlap import overlap_area_mm2
from fitkit.flatten.relief_cuts import (
    CutOpen,
    SurfaceCut,
    carried_past_cuts,
    cut_findings,
    cut_open,
    flat_cuts,
)
from fitkit.flatten.remesh import Remeshed, carried_line, edge_for_count, remesh, smallest_angle_rad
from fitkit.flatten.rolled_fit import rolled_fit
from fitkit.flatten.seam import OpenedPatch
from fitkit.flatten.seam_lines import seam_lines
from fitkit.flatten.shape_findings import seam_findings, shape_findings
from fitkit.flatten.sheet_demand import demand_on_sheet
from fitkit.flatten.sheet_limits import grain_direction
from fitkit.flatten.smoothing import smoothed_form
from fitkit.flatten.stretch import stretch_field
from fitkit.flatten.symmetric_dirichlet import (
    FlatMap,
    minimise_symmetric_dirichlet,
    symmetric_dirichlet_energy,
)
from fitkit.flatten.way_up import way_up
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import Patch

__all__ = ["flatten_patch"]

Progress = Callable[[float, str], None]

# 5 k triangles are within 0.05 % of 50 k in distortion (measured on caps and body patches).
_TRIANGLES = 5000
_MOST_TRIANGLES = 8000
# Below this angle a triangle is a sliver left by cutting along a line.
_SLIVER_RAD = np.radians(8.0)
# A surface that already lies flat to a strain of about 1e-6 needs no better triangles.
_EXACT_ENERGY = 1e-12
# A mean strain of 1e-4: perhaps a developable that has not come to rest.
_NEARLY_EXACT_ENERGY = 1e-8
# Beyond so many times what a sheet gives nobody would try to bend it over the form.
_NOT_ROLLED = 15.0
# Steps on the first map: enough to even out its scale before points are spread over it.
_FIRST_STEPS = 12
_FIRST_TOLERANCE = 0.1


def flatten_patch(
    patch: Patch, *, cuts: Sequence[SurfaceCut] = (), progress: Progress | None = None
) -> FlatPatch:
    """Return the blank of a patch and what the sheet has to give to become the plate.

    A patch with several borders (a sleeve, a yoke) is opened along seams first. The flat map is
    the one whose worst strain is least, or whose strain on the whole is where the maker wants it
    so; its size follows from how the plate will be made (dished, raised, balanced ...). Surfaces
    that bend one way only (cylinders, cones) come out without stretch.

    Parameters
    ----------
    patch
        One piece with at least one border.
    cuts
        Relief cuts; they open as V-notches on the blank.
    progress
        Called with a fraction from 0 to 1 and words.

    Raises
    ------
    DesignError
        When the patch is in pieces, closed, without area or has a handle, a named seam does not
        run across it, a line to hold is not one of its own, or a relief cut cannot be made.

    See Also
    --------
    fitkit.flatten.minimax : the worst strain, its minimum and the literature.
    fitkit.flatten.forming_scale : the blank's size.
    """

    def tell(fraction: float, words: str) -> None:
        if progress is not None:
            progress(fraction, f"{patch.design.name}: {words}")

    tell(0.0, "opening")
    check_can_be_opened(patch)
    findings = [*patch.findings, *shape_findings(patch)]
    patch, seams = seam_lines(patch)
    opened = open_patch(patch, [seam.vertices for seam in seams])
    findings += seam_findings(patch.design, seams)

    tell(0.1, "first map")
    disk, first_flat, start = opened, *[conformal_start(opened.mesh, opened.round)] * 2
    exact = symmetric_dirichlet_energy(opened.mesh, start) < _EXACT_ENERGY
    if not exact and _needs_remeshing(opened):
        relaxed = minimise_symmetric_dirichlet(
            opened.mesh, start, max_iterations=_FIRST_STEPS, tolerance=_FIRST_TOLERANCE
        )
        start = first_flat = relaxed.flat_mm
        tell(0.3, "even triangles")
        anew = _with_even_triangles(opened, first_flat)
        if anew is not None:
            disk, start = anew.opened, anew.start_mm
        else:
            findings += sliver_findings(patch.design.name, opened.mesh)

    if not exact:
        smoothed = smoothed_form(disk.mesh)
        disk = replace(disk, mesh=smoothed.mesh)
        findings += noise_findings(patch.design.name, smoothed)
    cut = None
    if cuts:
        cut = cut_open(patch.design.name, disk, start, cuts)
        disk, start = cut.disk, cut.start_mm
    held = _held_lines(patch.design, opened, first_flat, disk, start)
    reached = _least_strain(
        patch.design, disk.mesh, start, held, lambda f, words: tell(0.5 + 0.4 * f, words)
    )
    tell(0.9, "stretch and lines")
    size = 1.0
    if held is None:
        laid = _flat_lines(opened, first_flat, disk, start, reached.flat_mm, cut)
        size = forming_scale(
            disk.mesh,
            reached.flat_mm,
            forming_of(patch.design),
            sheet_material_named(patch.design.material),
            grain=grain_direction(laid),
            evened=patch.design.ease == "overall",
        )
    flat = _upright(size * reached.flat_mm, disk)
    findings += unsettled_findings(patch.design.name, reached)
    overlap = overlap_area_mm2(flat, disk.mesh.faces, flat[disk.round])
    findings += overlap_findings(patch.design.name, overlap, disk.mesh.area_mm2())
    stretch, direction = stretch_field(disk.mesh, flat)
    lines = _flat_lines(opened, first_flat, disk, start, flat, cut)
    demand = demand_on_sheet(
        patch.design, disk.mesh, flat, (stretch, direction), grain_direction(lines)
    )
    findings += stretch_findings(patch.design, demand)
    findings += ease_findings(patch.design, disk.mesh, stretch)
    if demand.forming == "roll" and 1.0 < demand.over < _NOT_ROLLED:
        tell(0.92, "bending it over the form")
        limit = sheet_material_named(patch.design.material).stretch_limit
        findings += roll_findings(patch.design, rolled_fit(disk.mesh, flat, limit), limit)
    findings += length_findings(patch.design, _formed_and_flat(opened, disk, flat, lines))
    opening = flat_cuts(patch.design, disk, flat)
    findings += cut_findings(patch.design.name, opening)
    way = way_up(disk.mesh, flat)
    findings += way_findings(patch.design.name, way)
    result = FlatPatch(
        design=patch.design,
        form=disk.mesh,
        flat_mm=flat,
        outline=tuple(
            FlatEdge(s.line, flat[s.vertices], s.arc_mm, s.neighbours) for s in disk.border
        ),
        stretch=stretch,
        stretch_direction=direction,
        up=way.direction,
        inner_lines=lines,
        cuts=opening,
        findings=tuple(findings),
    )
    tell(1.0, "flat")
    return result


def _held_lines(
    design: PatchDesign, opened: OpenedPatch, first_flat: Floats, disk: OpenedPatch, start: Floats
) -> HeldLines | None:
    """Return the lines that the maker wants at their true length, as they lie on the start.

    Raises
    ------
    DesignError
        When one of them neither bounds the patch nor crosses it.
    """
    if not design.hold:
        return None
    lines = [
        (start[s.vertices], float(s.arc_mm[-1] - s.arc_mm[0]))
        for s in disk.border
        if (SEAM if is_seam(s.line) else s.line) in design.hold
    ]
    lines += [
        (first_flat[i.vertices], _length_mm(opened.mesh.vertices[i.vertices]))
        for i in opened.inner_lines
        if i.line in design.hold
    ]
    known = {SEAM if is_seam(s.line) else s.line for s in disk.border}
    known |= {i.line for i in opened.inner_lines}
    for name in design.hold:
        if name not in known:
            raise DesignError(
                f"The patch '{design.name}' is to hold the length of '{name}', which neither "
                "bounds nor crosses it.",
                f"Hold one of: {', '.join(sorted(known))}.",
            )
    return HeldLines(disk.mesh, start, lines)


def _least_strain(
    design: PatchDesign,
    mesh: TriangleMesh,
    start_mm: Floats,
    held: HeldLines | None,
    progress: Progress,
) -> FlatMap:
    """Return the flat map of least strain as the maker wants it eased, or the isometric one."""
    even = minimise_symmetric_dirichlet(mesh, start_mm, tolerance=_FIRST_TOLERANCE)
    if even.energy < _NEARLY_EXACT_ENERGY:
        even = minimise_symmetric_dirichlet(mesh, even.flat_mm)
    if even.energy < _EXACT_ENERGY:
        return even
    if design.ease == "overall":
        return minimise_symmetric_dirichlet(mesh, even.flat_mm, held=held, progress=progress)
    return minimise_largest_strain(mesh, even.flat_mm, held=held, progress=progress)


def _needs_remeshing(opened: OpenedPatch) -> bool:
    mesh = opened.mesh
    return len(mesh.faces) > _MOST_TRIANGLES or smallest_angle_rad(mesh) < _SLIVER_RAD


def _with_even_triangles(opened: OpenedPatch, flat: Floats) -> Remeshed | None:
    if overlap_area_mm2(flat, opened.mesh.faces, flat[opened.round]) > 0.0:
        return None
    anew = remesh(opened, flat, edge_for_count(opened.mesh.area_mm2(), _TRIANGLES))
    if anew is None or flipped_faces(anew.opened.mesh, anew.start_mm):
        return None
    return anew


def _upright(flat_mm: Floats, disk: OpenedPatch) -> Floats:
    """Return the flat map with up along +y, about its border's middle.

    Where the solver lets it slide and turn to means nothing; a maker reads it upright.
    """
    up = way_up(disk.mesh, flat_mm).direction
    turned = flat_mm @ np.array([[up[1], up[0]], [-up[0], up[1]]])
    border = turned[disk.round]
    upright: Floats = turned - 0.5 * (border.min(axis=0) + border.max(axis=0))
    return upright


def _flat_lines(
    opened: OpenedPatch,
    first_flat: Floats,
    disk: OpenedPatch,
    start: Floats,
    flat: Floats,
    cut: CutOpen | None,
) -> tuple[FlatLine, ...]:
    if cut is not None:
        return tuple(
            part
            for line in opened.inner_lines
            for part in carried_past_cuts(line, first_flat, cut, disk.mesh.faces, flat)
        )
    if disk is opened:
        return tuple(FlatLine(line.line, flat[line.vertices]) for line in opened.inner_lines)
    return tuple(
        FlatLine(line.line, carried_line(line, first_flat, start, disk.mesh.faces, flat))
        for line in opened.inner_lines
    )


def _formed_and_flat(
    opened: OpenedPatch, disk: OpenedPatch, flat: Floats, lines: tuple[FlatLine, ...]
) -> dict[str, tuple[float, float]]:
    """Return per line its length on the form and on the flat, edges and inner lines alike."""
    formed: dict[str, float] = {}
    laid: dict[str, float] = {}

    def add(into: dict[str, float], name: str, points: Floats) -> None:
        into[name] = into.get(name, 0.0) + _length_mm(points)

    for stretch in disk.border:
        add(formed, stretch.line, disk.mesh.vertices[stretch.vertices])
        add(laid, stretch.line, flat[stretch.vertices])
    for inner in opened.inner_lines:
        add(formed, inner.line, opened.mesh.vertices[inner.vertices])
    for line in lines:
        add(laid, line.line, line.points_mm)
    return {name: (formed[name], laid[name]) for name in formed}


def _length_mm(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
