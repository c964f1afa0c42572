"""Padding pads: glued inside a plate, developed where they lie, clear of rivets."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.form_to_flat import on_flat
from fitkit.flatten.way_up import way_up
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.holding.pad_design import PadDesign
from fitkit.holding.soft_piece import SoftPiece, soft_piece
from fitkit.patch.patch import Patch

__all__ = ["LaidPad", "lay_pad"]

# Round a hole a rivet's tail or washer wants so many of its diameters, and so much more; common
# practice, no source.
_CLEAR_SHARE, _CLEAR_MM = 2.0, 3.0
# Clear holes that leave less than this between them, or to the pad's edge, are cut out together.
_BRIDGE_MM = 4.0
# Points and corners sharper than this are rounded off: foam tears there.
_ROUND_MM = 6.0
_WAVES_MM = 0.25
# A part smaller than this is left out with a finding.
_LEAST_MM2 = 1000.0
# A plate curved more tightly than its pad is thick turns so much of the pad over at most.
_TURNED_SHARE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class LaidPad:
    """A pad flat, in one piece or several, and what was noticed."""

    design: PadDesign
    pieces: tuple[SoftPiece, ...]
    findings: tuple[Finding, ...]


def lay_pad(design: PadDesign, patch: Patch, flat: FlatPatch, holes_mm: Floats) -> LaidPad:
    """Return the pad that lines a plate, flat.

    It is the surface amid the pad's own thickness under the plate, laid flat as soft stuff is, cut
    back inside the plate's edge and punched or cut out round every hole of the plate.

    Parameters
    ----------
    patch, flat
        The plate formed, and its blank.
    holes_mm
        (M, 3) float mm: centre and diameter of the plate's holes on its blank.

    Raises
    ------
    DesignError
        When the plate is curved more tightly than the pad is thick, or nothing is left of the pad.
    """
    whole = design.thickness_mm * design.layers
    own = _lining(design, patch, 0.5 * (patch.design.thickness_mm + whole))
    made = replace(
        patch.design,
        name=design.name,
        material=design.material,
        thickness_mm=whole,
        forming="soft",
        ease="worst spot",
        edges={},
        hold=(),
        cuts=(),
        over=(),
    )
    laid = flatten_patch(replace(patch, design=made, mesh=own, findings=()))
    way = way_up(laid.form, laid.flat_mm)
    upright = np.array([[way.direction[1], -way.direction[0]], way.direction])
    points = np.concatenate([edge.points_mm[:-1] for edge in laid.outline]) @ upright.T
    # Round and back again, so that the form's small waves are not cut into the pad.
    area = shapely.Polygon(points).buffer(0).buffer(-design.edge_mm - _ROUND_MM)
    area = area.buffer(2.0 * _ROUND_MM).buffer(-_ROUND_MM).simplify(_WAVES_MM)
    clear = _clearances(flat, laid, holes_mm) @ _lift(upright)
    discs = [shapely.Point(x, y).buffer(0.5 * across) for x, y, across in clear]
    inner = area.buffer(-_BRIDGE_MM)
    tree = shapely.STRtree(discs)
    punched = np.array(
        [
            inner.contains(disc) and len(tree.query(disc.buffer(_BRIDGE_MM), "intersects")) == 1
            for disc in discs
        ],
        dtype=np.bool_,
    )
    cut_out = [disc for disc, alone in zip(discs, punched, strict=True) if not alone]
    area = shapely.difference(area, shapely.union_all(cut_out)).buffer(-_ROUND_MM).buffer(_ROUND_MM)
    parts = sorted(
        (one for one in shapely.get_parts(area) if one.area >= _LEAST_MM2),
        key=lambda one: -float(one.area),
    )
    if not parts:
        raise DesignError(
            f"Nothing is left of the pad '{design.name}' {design.edge_mm:g} mm inside the edge of "
            f"'{design.on}' and clear of its holes.",
            "Give a smaller edge_mm, or leave the pad out.",
        )
    pieces = []
    for number, part in enumerate(parts, start=1):
        name = design.name if len(parts) == 1 else f"{design.name} {number}"
        own_holes = clear[punched & shapely.contains_xy(part, clear[:, :2])]
        many = f"cut {design.layers}" if design.layers > 1 else "cut 1"
        words = (
            f"inside '{design.on}' · {many} · {design.material} {design.thickness_mm:g} mm",
            "side to the plate shown",
            f"ends {design.edge_mm:g} mm inside the plate's edge"
            + (", holes clear of rivets" if len(own_holes) else ""),
        )
        pieces.append(
            soft_piece(
                name,
                design.material,
                design.thickness_mm,
                part,
                holes_mm=own_holes,
                words=words,
                shown="" if way.shown == "any" else way.shown,
            )
        )
    return LaidPad(design, tuple(pieces), _findings(design, patch))


def _lining(design: PadDesign, patch: Patch, depth_mm: float) -> TriangleMesh:
    """Return a plate's surface moved inwards to the middle of what lines it."""
    mesh = patch.mesh
    inside = mesh.with_vertices(mesh.vertices - depth_mm * mesh.vertex_normals())
    facing = np.einsum("fi,fi->f", inside.face_normals_scaled(), mesh.face_normals_scaled())
    turned = float(mesh.face_areas_mm2()[facing <= 0.0].sum()) / mesh.area_mm2()
    if turned > _TURNED_SHARE:
        raise DesignError(
            f"'{design.on}' is curved more tightly than the pad '{design.name}' is thick "
            f"({depth_mm:.0f} mm inwards {100 * turned:.0f} % of it folds).",
            "Take a thinner pad, or divide the plate.",
        )
    return inside


def _lift(upright: Floats) -> Floats:
    """(3, 3): turns places with their diameters."""
    lifted = np.eye(3)
    lifted[:2, :2] = upright.T
    return lifted


def _clearances(plate: FlatPatch, pad: FlatPatch, holes_mm: Floats) -> Floats:
    """(M, 3) float mm: centres and diameters of what is kept clear, on the pad's flat.

    Holes beyond the plate's own edge, in its laps, are not over the pad.
    """
    holes = np.reshape(holes_mm, (-1, 3))
    blank = TriangleMesh(
        np.column_stack([plate.flat_mm, np.zeros(len(plate.flat_mm))]), plate.faces
    )
    lifted = np.column_stack([holes[:, :2], np.zeros(len(holes))])
    on_blank, faces, away = nearest_on_mesh(blank, lifted)
    own = away < 0.5
    formed = _formed(plate, on_blank[own], faces[own])
    on_pad, pad_faces, _ = nearest_on_mesh(pad.form, formed)
    centres = on_flat(pad.form, pad.flat_mm, on_pad, pad_faces)
    return np.column_stack([centres, _CLEAR_SHARE * holes[own, 2] + _CLEAR_MM])


def _formed(plate: FlatPatch, on_blank: Floats, faces: Ints) -> Floats:
    """(M, 3) float mm: where places of the blank, in its triangles, lie on the formed plate."""
    a, b, c = np.moveaxis(plate.flat_mm[plate.faces[faces]], 1, 0)
    p = on_blank[:, :2]
    e1, e2, q = b - a, c - a, p - a
    whole = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    s = (q[:, 0] * e2[:, 1] - q[:, 1] * e2[:, 0]) / whole
    t = (e1[:, 0] * q[:, 1] - e1[:, 1] * q[:, 0]) / whole
    corners = plate.form.corners[faces]
    shares = np.column_stack([1.0 - s - t, s, t])
    formed: Floats = np.einsum("nk,nki->ni", shares, corners)
    return formed


def _findings(design: PadDesign, patch: Patch) -> tuple[Finding, ...]:
    room, whole = patch.design.clearance_mm or 0.0, design.thickness_mm * design.layers
    if whole <= room + 1e-9:
        return ()
    return (
        Finding(
            "pad-thick",
            Severity.WARNING,
            design.name,
            f"The pad is {whole:g} mm thick; '{design.on}' stands {room:g} mm off the body.",
            f"Give '{design.on}' a clearance_mm of {whole:g} or more, or take a thinner pad.",
            number=whole,
            limit=room,
            unit="mm",
        ),
    )
