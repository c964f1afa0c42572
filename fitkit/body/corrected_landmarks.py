"""Landmarks that the maker put right by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fitkit.body.body import Body, Landmark
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["with_corrections", "without_corrections"]

_CODE = "landmark-by-hand"

_OFF_SURFACE_MM = 20.0


def with_corrections(body: Body, corrections: Mapping[str, Floats]) -> Body:
    """Return the body with landmarks where the maker puts them, each laid onto the surface.

    A name that geometry did not find makes a landmark of the maker's own.

    Parameters
    ----------
    body
        With what geometry found.
    corrections
        (3,) float mm in the body's frame, by name. That frame goes with the body (floor, mirror
        plane, middle of the trunk), so the places hold for the next scan of the same wearer.
    """
    if not corrections:
        return body
    names = list(corrections)
    wanted = np.array([corrections[name] for name in names], dtype=np.float64).reshape(-1, 3)
    points, _, off_mm = nearest_on_mesh(body.mesh, wanted)
    landmarks = dict(body.landmarks)
    findings = list(body.findings)
    for name, point, off in zip(names, points, off_mm.tolist(), strict=True):
        found = landmarks.get(name)
        landmarks[name] = Landmark(name, point, 1.0)
        far = off > _OFF_SURFACE_MM
        moved = (
            "geometry found none"
            if found is None
            else f"{np.linalg.norm(found.at_mm - point):.0f} mm from where geometry puts it"
        )
        findings.append(
            Finding(
                _CODE,
                Severity.WARNING if far else Severity.NOTE,
                name,
                f"The {name} is where job.toml puts it, {moved}"
                + (f"; that place lies {off:.0f} mm off the surface." if far else "."),
                "Look whether it still fits this body, and correct it in [body.landmarks]."
                if far
                else "",
                off,
                _OFF_SURFACE_MM,
                "mm",
            )
        )
    return replace(body, landmarks=landmarks, findings=tuple(findings))


def without_corrections(body: Body, found: Mapping[str, Landmark]) -> Body:
    """Return a corrected body with its landmarks ``found`` by geometry in their places again."""
    findings = tuple(finding for finding in body.findings if finding.code != _CODE)
    return replace(body, landmarks=found, findings=findings)
