"""A dome's petals on the flat, one tab to each."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from fitkit.flatten.attachment_blank import AttachmentBlank, tab_along
from fitkit.flatten.attachment_seat import (
    Foot,
    PlateSeat,
    Seat,
    holes_beside,
    upward_point,
)
from fitkit.flatten.dome import trimmed_dome
from fitkit.flatten.flat_patch import FlatLine
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import PatchDesign, PointAnchor
from fitkit.patch.patch import Patch, PatchEdge

__all__ = ["dome_blank"]

_PETAL_TAB_SHARE = 0.5
# What flattening says of a patch on the wearer and is nothing to a dome.
_NOT_A_DOMES = ("up-not-plain", "line-length")


def dome_blank(
    design: AttachmentDesign, outside: TriangleMesh, seat: Seat
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return part of a ball as petals joined at its pole, one tab to each."""
    dome = trimmed_dome(design, outside, seat)
    material = PatchDesign(
        design.name,
        ("foot",),
        PointAnchor(*map(float, seat.at_mm)),
        material=design.material,
        thickness_mm=design.thickness_mm,
    )
    rim = np.append(dome.rim, dome.rim[0])
    patch = Patch(material, dome.mesh, ((PatchEdge("foot", rim),),))
    flat = flatten_patch(patch, cuts=dome.cuts)
    feet = [edge for edge in flat.outline if edge.line == "foot"]
    tabs = []
    holes = []
    foot = Foot(dome.mesh.vertices[rim], dome.rim_normals[np.append(np.arange(len(dome.rim)), 0)])
    formed = np.concatenate(
        [[0.0], np.cumsum(np.linalg.norm(np.diff(foot.points_mm, axis=0), axis=1))]
    )
    on_form = cKDTree(flat.flat_mm)
    for edge in feet:
        arc = np.concatenate(
            [[0.0], np.cumsum(np.linalg.norm(np.diff(edge.points_mm, axis=0), axis=1))]
        )
        width = min(_PETAL_TAB_SHARE * float(arc[-1]), 2.0 * design.tab_mm)
        tabs.append(tab_along(edge.points_mm, arc, 0.5 * float(arc[-1]), width, design.tab_mm))
        middle = int(np.argmin(np.abs(arc - 0.5 * arc[-1])))
        there = flat.form.vertices[int(on_form.query(edge.points_mm[middle])[1])]
        holes.append(float(formed[int(np.argmin(np.linalg.norm(foot.points_mm - there, axis=1)))]))
    up = upward_point(foot.points_mm[:-1] - seat.at_mm, seat)
    at = int(np.argmin(np.linalg.norm(flat.form.vertices - foot.points_mm[up], axis=1)))
    inward = flat.flat_mm.mean(axis=0) - flat.flat_mm[at]
    blank = AttachmentBlank(
        design,
        tuple(FlatLine(edge.line, edge.points_mm) for edge in flat.outline),
        None,
        (),
        tuple(tabs),
        flat.flat_mm[at],
        inward / np.linalg.norm(inward),
        flat.cuts,
        (float(flat.stretch.min()), float(flat.stretch.max())),
        tuple(f for f in flat.findings if f.code not in _NOT_A_DOMES),
    )
    away = np.full(len(holes), 0.5 * design.tab_mm)
    mounts = holes_beside(outside, foot, formed, np.array(holes), away, True)
    return blank, PlateSeat(
        design.name, foot.points_mm[:-1], mounts, design.hole_mm, foot.points_mm[up]
    )
