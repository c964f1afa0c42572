"""What a patch costs in one piece, and what cutting it would buy: choices with their numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
import shapely

from fitkit.body.side import Side
from fitkit.findings import Finding, Severity
from fitkit.flatten.coarse_disk import coarse_disk
from fitkit.flatten.cut_choice import CutChoice, relief_limit
from fitkit.flatten.cut_families import CutFamilies
from fitkit.flatten.cut_plan import CutPlan, lay_flat
from fitkit.flatten.cut_search import CutSearch
from fitkit.flatten.edge_names import is_seam
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.form_to_flat import on_flat
from fitkit.flatten.minimax import minimise_largest_strain
from fitkit.flatten.mirror_axis import mirror_axis
from fitkit.flatten.overlap import overlap_area_mm2
from fitkit.flatten.remesh import place_on_faces
from fitkit.flatten.sheet_demand import anneals
from fitkit.flatten.slit_disk import FlatDisk, StraightCut
from fitkit.flatten.symmetric_dirichlet import minimise_symmetric_dirichlet
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.topology import boundary_loops
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import PatchDesign

__all__ = ["advice_findings", "advise_cuts", "least_strain"]

Progress = Callable[[float, str], None]

# 2 k triangles rank cuts as 20 k do; the strain they tell is within a few per cent of itself.
_TRIANGLES = 2000
_MOST_CUTS = 12
# A choice that leaves more than this share of the strain before it is not worth a line.
_WORTH_TELLING = 0.9
_MOST_CHOICES = 5
# A choice's line is told by this many points, enough to lay it over the form again.
_LINE_POINTS = 7


def advise_cuts(
    flat: FlatPatch,
    *,
    no_cut_places: Sequence[tuple[Floats, float]] = (),
    progress: Progress | None = None,
) -> tuple[CutChoice, ...]:
    """Return the choices for a patch laid flat in one piece; the first is that piece.

    Parameters
    ----------
    flat
        Without relief cuts.
    no_cut_places
        ``(middle (3,) mm on the form, radius in mm)`` of places no cut may enter; lines from which
        none may start are the design's.

    Returns
    -------
    choices
        Just the one piece where it lies within the limit of :func:`relief_limit`, or lies over
        itself so that nothing can be drawn on it.
    """
    limit = relief_limit(flat.design)

    def tell(fraction: float, words: str) -> None:
        if progress is not None:
            progress(fraction, f"{flat.design.name}: {words}")

    tell(0.0, "the price of relief cuts")
    disk = _coarse(flat)
    whole = None if disk is None else lay_flat(disk, (), least_strain)
    if disk is None or whole is None:
        return (_as_it_is(flat),)
    if whole.strain <= limit:
        return (_choice(flat.design, disk, whole),)
    families = CutFamilies(
        disk,
        barred_edge=_barred_edges(flat, disk),
        barred=_barred_area(flat, no_cut_places),
        axis=mirror_axis(disk) if flat.design.side is Side.CENTRE else None,
    )
    search = CutSearch(families, least_strain)
    found = [whole]
    tell(0.1, "trying a cut right through")
    splits = [
        plan
        for cuts in families.best_through()
        if (plan := lay_flat(disk, cuts, least_strain)) is not None and plan.overlap_mm2 == 0.0
    ]
    if splits and not _is_sleeve(flat):
        found.append(
            next(
                (plan for plan in splits if plan.meets(limit)),
                min(splits, key=lambda plan: plan.strain),
            )
        )
    tell(0.3, "trying cuts from the edge")
    best, seen = search.fewest(limit, _MOST_CUTS)
    found += [plan for plan in seen if plan.overlap_mm2 == 0.0 and plan is not best]
    if best is not None:
        found.append(best)
        tell(0.8, "trying one more")
        other = search.shorter_with_one_more(best, limit)
        found += [other] if other is not None else []
    tell(1.0, "choices weighed")
    return tuple(_choice(flat.design, disk, plan) for plan in _worth_telling(found, limit))


def _anneals(design: PatchDesign, strain: float) -> int | None:
    return anneals(float(np.log1p(strain)), sheet_material_named(design.material))


def _as_it_is(flat: FlatPatch) -> CutChoice:
    """Return the one piece alone, from the flat patch itself."""
    outline = flat.flat_mm[boundary_loops(flat.form)[0]]
    strain = float(np.sqrt(flat.stretch.max() / flat.stretch.min()) - 1.0)
    overlap = overlap_area_mm2(flat.flat_mm, flat.faces, outline)
    anneals = _anneals(flat.design, strain)
    return CutChoice("one piece", strain, anneals, 0.0, overlap, (), (outline,))


def _is_sleeve(flat: FlatPatch) -> bool:
    return any(is_seam(edge.line) for edge in flat.outline)


def least_strain(mesh: TriangleMesh, start_mm: Floats) -> Floats:
    """Return the flat map of least worst strain, good enough to choose by."""
    near = minimise_symmetric_dirichlet(mesh, start_mm, tolerance=1e-3)
    return minimise_largest_strain(mesh, near.flat_mm, gap=0.03).flat_mm


def _coarse(flat: FlatPatch) -> FlatDisk | None:
    """Return the patch over fewer triangles, or None where its flat lies over itself."""
    ring = boundary_loops(flat.form)[0]
    if overlap_area_mm2(flat.flat_mm, flat.faces, flat.flat_mm[ring]) > 0.0:
        return None
    return coarse_disk(flat.form, flat.flat_mm, _TRIANGLES)


def _barred_edges(flat: FlatPatch, disk: FlatDisk) -> Bools | None:
    """(B,) bool: edges of the border from which no cut may start; None where all are open."""
    barred = {name for name in flat.design.no_cuts if isinstance(name, str)}
    barred |= {edge.line for edge in flat.outline if is_seam(edge.line)}
    if not any(edge.line in barred for edge in flat.outline):
        return None
    rim = disk.flat_mm[disk.ring]
    middles = shapely.points(0.5 * (rim + np.roll(rim, -1, axis=0)))
    lines = (
        shapely.linestrings([edge.points_mm for edge in flat.outline])
        if len({len(edge.points_mm) for edge in flat.outline}) == 1
        else np.array([shapely.LineString(edge.points_mm) for edge in flat.outline])
    )
    nearest = np.argmin(shapely.distance(middles[:, None], lines[None]), axis=1)
    is_barred = np.array([edge.line in barred for edge in flat.outline])
    found: Bools = is_barred[nearest]
    return found


def _barred_area(
    flat: FlatPatch, places: Sequence[tuple[Floats, float]]
) -> shapely.Geometry | None:
    if not places:
        return None
    middles = np.stack([middle for middle, _ in places])
    on_form, faces, _ = nearest_on_mesh(flat.form, middles)
    flat_at = on_flat(flat.form, flat.flat_mm, on_form, faces)
    return shapely.union_all(
        [shapely.Point(at).buffer(radius) for at, (_, radius) in zip(flat_at, places, strict=True)]
    )


def _worth_telling(found: Sequence[CutPlan], limit: float) -> list[CutPlan]:
    """Return the one piece, then what pays: fewest cuts first, each clearly better than before."""
    whole, *rest = found
    kept = [whole]
    # Fewest cuts first; right through counts as one, told before a cut from the edge.
    rest = sorted(rest, key=lambda p: (len(p.cuts), p.pieces == 1, p.length_mm, p.strain))
    for plan in rest:
        beaten = any(
            len(k.cuts) <= len(plan.cuts)
            and k.strain * _WORTH_TELLING < plan.strain
            and (k.pieces == plan.pieces or k is whole)
            and not (plan.meets(limit) and plan.length_mm < k.length_mm)
            for k in kept
        ) or any(
            k is not whole
            and k.meets(limit)
            and k.length_mm <= plan.length_mm
            and k.pieces == plan.pieces
            for k in kept
        )
        if not beaten:
            kept.append(plan)
    if len(kept) > _MOST_CHOICES:
        meeting = [plan for plan in kept if plan.meets(limit)]
        others = [plan for plan in kept[1:] if not plan.meets(limit)]
        room = _MOST_CHOICES - 1 - min(len(meeting), 2)
        kept = [whole, *others[:room], *meeting[:2]]
    return kept


def _choice(design: PatchDesign, disk: FlatDisk, plan: CutPlan) -> CutChoice:
    kind: Literal["one piece", "cuts", "split"] = "cuts" if plan.cuts else "one piece"
    return CutChoice(
        "split" if plan.pieces > 1 else kind,
        plan.strain,
        _anneals(design, plan.strain),
        plan.length_mm,
        plan.overlap_mm2,
        tuple(_on_form(disk, cut) for cut in plan.cuts),
        plan.laid,
    )


def _on_form(disk: FlatDisk, cut: StraightCut) -> Floats:
    share = np.linspace(0.0, 1.0, _LINE_POINTS)[:, None]
    points = cut.foot_mm + share * (cut.tip_mm - cut.foot_mm)
    faces, weights = place_on_faces(points, disk.flat_mm, disk.mesh.faces)
    found: Floats = np.einsum("nk,nkd->nd", weights, disk.mesh.corners[faces])
    return found


def advice_findings(design: PatchDesign, choices: Sequence[CutChoice], adopt: str) -> list[Finding]:
    """Say what each choice costs and buys.

    ``adopt`` is the command that takes one up, up to the choice's number.
    """
    if len(choices) < 2:
        return []
    limit = relief_limit(design)
    told = "; ".join(
        f"({number}) {choice.in_words()}" for number, choice in enumerate(choices, start=1)
    )
    return [
        Finding(
            "cut-advice",
            Severity.NOTE,
            design.name,
            f"To lie flat it has to give, in {told}. {design.material.capitalize()} bears "
            f"{100.0 * limit:.3g} %.",
            f"To take up choice 2: {adopt} 2",
            number=choices[0].strain,
            limit=limit,
            unit="strain",
        )
    ]
