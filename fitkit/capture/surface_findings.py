"""What the dense step noticed: surface that no photo saw, and surface too plain to measure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.surface_refinement import best_views
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["few_pairs_finding", "plain_regions", "surface_findings"]

_BRIDGED_MM = 12.0
_VIEWS = 3
_SMALL_SHARE, _LARGE_SHARE = 0.01, 0.10
_SIDES, _HEIGHTS = ("front", "back", "left", "right"), ("low", "half-way up", "high")
_MOSTLY = 0.4


def surface_findings(
    surface: TriangleMesh,
    distance_mm: Floats,
    volume: CaptureVolume,
    cameras: Sequence[Camera],
    *,
    scale: float = 1.0,
) -> list[Finding]:
    """Judge by area how much of the surface was not measured, and why.

    What lies more than 12 mm (times ``scale``) from every point of the cloud only bridges a
    gap. Where three cameras look at it, it is too plain; elsewhere it was not seen. The flat
    cut at the bottom of the volume does not count.

    Parameters
    ----------
    surface
        The closed surface.
    distance_mm
        (V,) float mm: from each vertex to the nearest point of the cloud.
    volume
        The column that was searched.
    cameras
        The cameras of the photos used.
    scale
        Size of the subject's detail against that of a body.
    """
    area = surface.face_areas_mm2()
    cut: Bools = np.asarray((surface.corners[:, :, 2] < volume.bottom_mm + 0.1).all(axis=1))
    bridged = (distance_mm[surface.faces].min(axis=1) > scale * _BRIDGED_MM) & ~cut
    _, views_n = best_views(surface, surface.vertex_normals(), cameras)
    looked_at = views_n[surface.faces].min(axis=1) >= _VIEWS
    blank: Bools = np.asarray(bridged & looked_at)
    whole = max(float(area[~cut].sum()), 1.0)
    plain = float(area[blank].sum()) / whole
    unseen = float(area[bridged & ~looked_at].sum()) / whole
    findings = []
    if unseen > _SMALL_SHARE:
        findings.append(
            _share(
                "unseen-surface",
                unseen,
                f"{100 * unseen:.0f} % of the surface was seen by fewer than {_VIEWS} photos; "
                "there it only bridges a gap.",
                "Add photos that look at those places.",
            )
        )
    if plain > _SMALL_SHARE:
        findings.append(
            _share(
                "plain-surface",
                plain,
                f"{100 * plain:.0f} % of the surface lies in view but shows too little pattern to "
                f"measure ({plain_regions(surface, blank, cut)}); there it follows the body's "
                "outlines at best and is drawn smooth in between.",
                "Stick crosses of dark tape on it, a hand's breadth apart, or pull a patterned "
                "layer over it, and photograph it again.",
            )
        )
    return findings


def plain_regions(surface: TriangleMesh, blank: Bools, cut: Bools) -> str:
    """Return in words where most of the surface is blank: sides, each low, half-way up or high.

    Parameters
    ----------
    surface
        In the world, the wearer facing -y.
    blank, cut
        (F,) bool: the faces in question, and those of the flat bottom, which do not count.
    """
    area = np.where(cut, 0.0, surface.face_areas_mm2())
    middle = surface.corners.mean(axis=1)
    scaled = surface.face_normals_scaled()
    bottom_mm, top_mm = surface.bounds_mm()[0][2], surface.bounds_mm()[1][2]
    third = np.clip(3.0 * (middle[:, 2] - bottom_mm) / max(top_mm - bottom_mm, 1e-9), 0.0, 2.99)
    side = np.argmax(np.stack([-scaled[:, 1], scaled[:, 1], scaled[:, 0], -scaled[:, 0]]), axis=0)
    cell = 3 * side + third.astype(np.int64)
    whole = np.bincount(cell, area, 12)
    share = (np.bincount(cell, area * blank, 12) / np.maximum(whole, 1e-9)).reshape(4, 3)
    words = []
    for name, row in zip(_SIDES, share > _MOSTLY, strict=True):
        if row.all():
            words.append(name)
        elif row.any():
            words.append(f"{name} " + " and ".join(np.array(_HEIGHTS)[row]))
    if words == list(_SIDES):
        return "all round"
    return ", ".join(words) if words else "in small places"


def few_pairs_finding(pairs: int, photos: int, *, least: float) -> Finding:
    """Say that too few photos look at the same side."""
    return Finding(
        "few-photo-pairs",
        Severity.WARNING,
        "photos",
        f"Only {pairs} pairs of the {photos} photos look at the same side from directions "
        "6 to 35 degrees apart; parts of the surface may be guessed.",
        "Take more photos, each 10 to 15 degrees from the last.",
        float(pairs),
        float(np.ceil(least)),
        "pairs",
    )


def _share(code: str, share: float, message: str, remedy: str) -> Finding:
    severity = Severity.WARNING if share > _LARGE_SHARE else Severity.NOTE
    return Finding(
        code, severity, "surface", message, remedy, share, _LARGE_SHARE, "share of the area"
    )
