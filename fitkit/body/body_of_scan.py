"""A scan in, a body out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.capture.scan import Scan
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.topology import components

__all__ = ["body_of_scan"]

_UNSEEN_MM = 10.0
_UNSEEN_AREA_MM2 = 2500.0
_MOST_NAMED = 6


def body_of_scan(scan: Scan, *, progress: Callable[[float, str], None] | None = None) -> Body:
    """Return the body of a scan's surface, with what no photo saw among its findings.

    The scan's scale, floor and upright are kept; only the turn about z and the place on the
    floor are settled, by the body's own symmetry.

    Raises
    ------
    MeshError
        When the scan's surface is not one closed upright body.
    """
    body = body_of_mesh(scan.surface, trust_mm=scan.surface_distance_mm, progress=progress)
    return replace(body, findings=(*body.findings, *_unseen_findings(body)))


def _unseen_findings(body: Body) -> list[Finding]:
    """Name the areas larger than a palm's half that lie far from anything seen."""
    unseen = body.trust_mm[body.mesh.faces].min(axis=1) > _UNSEEN_MM
    if not unseen.any():
        return []
    part, _ = body.mesh.faces_only(unseen)
    labels = components(part)
    face_areas = part.face_areas_mm2()
    areas = np.bincount(labels, weights=face_areas)
    whole = body.mesh.area_mm2()
    findings = []
    order = [k for k in np.argsort(-areas).tolist() if areas[k] >= _UNSEEN_AREA_MM2]
    low, high = body.mesh.bounds_mm()[:, 2]
    for k in order[:_MOST_NAMED]:
        own = labels == k
        weights = face_areas[own]
        centre = np.average(part.corners[own].mean(axis=1), axis=0, weights=weights)
        normal = part.face_normals_scaled()[own].sum(axis=0)
        # A cut end under a stand-in, or the top of its neck, is never seen and carries no plate.
        end = abs(normal[2]) > 0.8 * float(np.linalg.norm(normal)) and (
            min(high - centre[2], centre[2] - low) < 0.05 * (high - low)
        )
        where = _place(centre, normal)
        findings.append(
            Finding(
                "body-unseen",
                Severity.NOTE if end else Severity.WARNING,
                where,
                f"{areas[k] / 100:.0f} cm² ({100 * areas[k] / whole:.1f} % of the surface) at "
                f"the {where} were seen by no photo and are only bridged.",
                "" if end else "Take more photos from that side, or keep plates off that area.",
                float(areas[k] / 100),
                _UNSEEN_AREA_MM2 / 100,
                "cm2",
            )
        )
    return findings


def _place(centre: Floats, normal: Floats) -> str:
    side = "left" if centre[0] > 40 else "right" if centre[0] < -40 else ""
    way = int(np.argmax(np.abs(normal)))
    if way == 2:
        face = "top" if normal[2] > 0 else "underside"
    elif way == 1:
        face = "front" if normal[1] < 0 else "back"
    else:
        face = "flank"
    return f"{side} {face}".strip() + f", {centre[2]:.0f} mm up"
