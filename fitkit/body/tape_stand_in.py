"""A stand-in from the tape list alone: a plain torso with arms, neck and no measured surface."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from fitkit.body.adapt import adapt
from fitkit.body.adapted_body import AdaptedBody
from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.survey import SurveyGroup, filled_tape_mm
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["tape_stand_in"]

_CELL_MM = 9.0
_NOT_MEASURED_MM = 50.0
_ARM_TILT_RAD = np.radians(24.0)

# Level sections of a plain torso between crotch (0) and neck base (1): half breadth and half
# depth as shares of girth / (2 pi), how far the middle lies forward of the neck's, as a share of
# the stature, and which girth. By eye, no source; the tape list settles what they come to.
_SECTIONS = np.array(
    # along, breadth, depth, forward
    [
        [-0.12, 1.12, 0.82, 0.000],
        [0.06, 1.14, 0.82, 0.000],
        [0.20, 1.10, 0.82, 0.004],
        [0.40, 1.10, 0.80, 0.006],
        [0.58, 1.08, 0.82, 0.006],
        [0.68, 1.05, 0.86, 0.006],
        [0.80, 1.06, 0.78, 0.002],
        [0.88, 1.00, 0.62, -0.002],
        [0.95, 0.62, 0.50, -0.003],
        [1.02, 0.40, 0.40, -0.002],
    ]
)
_GIRTH_AT = np.array([0.06, 0.10, 0.38, 0.42, 0.66, 1.02])


def tape_stand_in(
    tape_mm: Mapping[str, float],
    *,
    group: SurveyGroup,
    progress: Callable[[float, str], None] | None = None,
) -> AdaptedBody:
    """Build a torso from a tape list, filling what it leaves out from a published survey.

    Parameters
    ----------
    tape_mm
        Lengths in mm by name: stature, chest, waist, hip, neck, upper arm and every other
        measure that the torso has; what it has not is told in a finding.
    group
        Whose sizes fill in what is missing.

    Returns
    -------
    stand_in
        A body marked as not measured, reshaped to the list; see :func:`fitkit.body.adapt.adapt`.

    References
    ----------
    C. C. Gordon et al., NATICK/TR-15/007, 2014, see :mod:`fitkit.body.survey`.
    """
    tell = progress or (lambda _fraction, _words: None)
    whole, filled = filled_tape_mm(tape_mm, group)
    tell(0.05, "building a plain torso")
    start = body_of_mesh(_torso(whole), settle=False)
    wanted = {name: whole[name] for name in ("chest", "waist", "hip", "neck", "upper arm")}
    wanted |= {name: whole[name] for name in ("neck height", "waist height")}
    given = {" ".join(name.lower().split()): length for name, length in tape_mm.items()}
    if {"left upper arm", "right upper arm"} & given.keys():
        del wanted["upper arm"]
    given.pop("stature", None)

    def partly(fraction: float, words: str) -> None:
        tell(0.3 + 0.7 * fraction, words)

    adapted = adapt(start, wanted | given, progress=partly)
    return replace(adapted, body=_marked(adapted.body, filled, group))


def _marked(body: Body, filled: tuple[str, ...], group: SurveyGroup) -> Body:
    """Return the body marked as not measured, the survey's part in it told."""
    kept = [f for f in body.findings if f.code not in ("body-adapted", "adapt-far")]
    words = "This body was built from the tape list; no surface of the wearer was measured."
    if filled:
        words += (
            f" Not on the list and filled in from the {group} of a published survey (ANSUR II, "
            f"2012): {', '.join(filled)}."
        )
    finding = Finding(
        "body-not-measured",
        Severity.WARNING,
        "body",
        words,
        "Draw on it, but try card on the wearer before anything rigid is cut.",
    )
    trust = np.full(len(body.mesh.vertices), _NOT_MEASURED_MM)
    return replace(body, trust_mm=trust, findings=(finding, *kept))


def _torso(whole: Mapping[str, float]) -> TriangleMesh:
    """Mesh the torso: one half from its field, the other its mirror image."""
    from skimage import measure

    marching_cubes: Any = measure.marching_cubes
    bottom = whole["crotch height"] - 0.01 * whole["stature"]
    top = whole["neck height"] + 0.022 * whole["stature"]
    arm = whole["upper arm length"]
    reach = 0.5 * whole["shoulder breadth"] + arm * np.sin(_ARM_TILT_RAD) + 0.4 * whole["upper arm"]
    deep = 0.24 * max(whole["chest"], whole["waist"], whole["hip"])
    low = np.array([0.0, -deep, bottom - 30.0])
    counts = np.ceil((np.array([reach, deep, top + 30.0]) - low) / _CELL_MM).astype(int) + 1
    axes = [low[k] + _CELL_MM * np.arange(counts[k]) for k in range(3)]
    values = _field(np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1), whole, bottom, top)
    points, faces, _, _ = marching_cubes(values, 0.0, spacing=(_CELL_MM,) * 3)
    points = points.astype(np.float64) + low
    faces = faces.astype(np.int64)
    on_plane = points[:, 0] < 1e-6
    points[on_plane, 0] = 0.0
    twin = np.arange(len(points))
    twin[~on_plane] = len(points) + np.arange(int((~on_plane).sum()))
    both = np.vstack([points, points[~on_plane] * np.array([-1.0, 1.0, 1.0])])
    mesh = TriangleMesh(both, np.vstack([faces, twin[faces[:, ::-1]]]))
    return mesh if mesh.volume_mm3() > 0 else TriangleMesh(both, mesh.faces[:, ::-1])


def _field(p: Floats, whole: Mapping[str, float], bottom: float, top: float) -> Floats:
    """Return about the distance to the torso's surface, negative inside."""
    x, y, z = np.moveaxis(p, -1, 0)
    stature = whole["stature"]
    crotch, neck_base = whole["crotch height"], whole["neck height"]
    along = np.clip((z - crotch) / (neck_base - crotch), -0.12, 1.02)
    girths = [whole[name] for name in ("hip", "hip", "waist", "waist", "chest", "chest")]
    radius = PchipInterpolator(_GIRTH_AT, girths)(np.clip(along, 0.06, 1.02)) / (2 * np.pi)
    breadth, depth, forward = (
        PchipInterpolator(_SECTIONS[:, 0], _SECTIONS[:, k])(along) for k in (1, 2, 3)
    )
    v = y + forward * stature
    gauge = np.sqrt((x / (breadth * radius)) ** 2 + (v / (depth * radius)) ** 2)
    trunk = (gauge - 1.0) * depth * radius
    neck = np.hypot(x, y - 0.25 * (neck_base - z)) - whole["neck"] / (2 * np.pi)
    neck = np.maximum(neck, neck_base - 0.05 * stature - z)
    shoulder = np.array(
        [0.46 * whole["shoulder breadth"], 0.0, whole["shoulder height"] - 0.034 * stature]
    )
    direction = np.array([np.sin(_ARM_TILT_RAD), 0.0, -np.cos(_ARM_TILT_RAD)])
    t = np.clip((p - shoulder) @ direction, 0.0, 0.9 * whole["upper arm length"])
    thick = whole["upper arm"] / (2 * np.pi)
    arm = np.linalg.norm(p - shoulder - t[..., np.newaxis] * direction, axis=-1)
    arm = arm - thick * (1.02 - 0.18 * t / whole["upper arm length"])
    arm = _cut(arm, (p - shoulder) @ direction - 0.85 * whole["upper arm length"], 10.0)
    joined = _joined(_joined(trunk, neck, 30.0), arm, 22.0)
    return _cut(_cut(joined, bottom - z, 10.0), z - top, 10.0)


def _joined(a: Floats, b: Floats, soft_mm: float) -> Floats:
    share = np.clip(0.5 + 0.5 * (b - a) / soft_mm, 0.0, 1.0)
    joined: Floats = b + (a - b) * share - soft_mm * share * (1 - share)
    return joined


def _cut(a: Floats, b: Floats, soft_mm: float) -> Floats:
    return -_joined(-a, -b, soft_mm)
