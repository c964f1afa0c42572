"""An upright mesh in, a body out: its frame settled, its parts and landmarks found."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from fitkit.body.body import Body
from fitkit.body.body_levels import BodyLevels, body_levels
from fitkit.body.landmarks import find_landmarks
from fitkit.body.limbs import find_limbs
from fitkit.body.segment_axes import find_segment_axes, trunk_centre_mm
from fitkit.body.side import Side
from fitkit.body.symmetry_plane import SymmetryPlane, find_symmetry_plane
from fitkit.body.trunk_levels import TrunkLevels, find_trunk_levels
from fitkit.errors import MeshError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from fitkit.geometry.topology import is_closed

__all__ = ["body_of_mesh"]

_SMALLEST_MM, _TALLEST_MM = 150.0, 2600.0
_MIRROR_LIMIT_MM = 15.0
_YAW_LIMIT_RAD = np.radians(20.0)
_SHARPNESS_LIMIT = 1.3
_PARTED = "Hold the arms a hand's breadth away from the body and take the photos again."


def body_of_mesh(
    mesh: TriangleMesh,
    *,
    trust_mm: ArrayLike | None = None,
    settle: bool = True,
    progress: Callable[[float, str], None] | None = None,
) -> Body:
    """Return the body of a closed mesh that stands upright and faces -y within 20 degrees.

    Parameters
    ----------
    mesh
        Millimetres, z up, floor at z = 0.
    trust_mm
        (V,) float mm: distance of each vertex from what was measured; None stands for 0.
    settle
        Turn and shift the mesh so that the plane that best mirrors left onto right becomes
        x = 0 and the trunk's mean centre y = 0. Without it the mesh is taken as it stands,
        with x = 0 its symmetry plane already.

    Raises
    ------
    MeshError
        When the mesh is not closed or wound inward, or its height is no body's.
    """
    _check(mesh)
    tell = progress or (lambda _fraction, _words: None)
    findings: list[Finding] = []
    if settle:
        tell(0.05, "finding the symmetry plane")
        plane = find_symmetry_plane(mesh)
        findings += _mirror_findings(plane)
        mesh = mesh.with_vertices(_body_from_world(plane).apply(mesh.vertices))
    tell(0.4, "cutting level sections")
    levels = body_levels(mesh)
    if len(levels.trunk) < 3:
        raise MeshError(
            "No trunk is found about the plane x = 0.",
            "Check that the mesh stands upright, z up, and its middle lies at x = 0.",
        )
    if settle:
        shift = np.array([0.0, -trunk_centre_mm(levels)[1], 0.0])
        mesh = mesh.with_vertices(mesh.vertices + shift)
        levels = levels.moved(shift)
    tell(0.7, "finding trunk, neck and limbs")
    axes = find_segment_axes(mesh, levels)
    tell(0.85, "finding landmarks")
    trunk = find_trunk_levels(levels)
    landmarks = find_landmarks(mesh, levels, axes, trunk)
    limb_axes, limb_marks = find_limbs(mesh, levels, axes)
    axes |= limb_axes
    landmarks |= limb_marks
    findings += _part_findings(levels, axes.keys(), trunk)
    tell(1.0, "done")
    trust = np.zeros(len(mesh.vertices)) if trust_mm is None else trust_mm
    return Body(
        mesh,
        frozen_floats(trust, (len(mesh.vertices),), "trust_mm"),
        axes,
        landmarks,
        tuple(findings),
    )


def _check(mesh: TriangleMesh) -> None:
    if not is_closed(mesh):
        raise MeshError("The body's mesh is not closed.", "Fill its holes, or take it from a scan.")
    if mesh.volume_mm3() <= 0:
        raise MeshError("The body's mesh is inside out.", "Turn its faces over.")
    height = float(np.ptp(mesh.vertices[:, 2]))
    if not _SMALLEST_MM <= height <= _TALLEST_MM:
        raise MeshError(
            f"The body is {height:.3g} mm tall.",
            "Give it in millimetres, standing upright with z up.",
        )


def _body_from_world(plane: SymmetryPlane) -> RigidTransform:
    cos, sin = np.cos(plane.yaw_rad), np.sin(plane.yaw_rad)
    rotation = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
    return RigidTransform(rotation, np.array([-plane.offset_mm, 0.0, 0.0]))


def _mirror_findings(plane: SymmetryPlane) -> list[Finding]:
    turned = np.degrees(plane.yaw_rad)
    findings = [
        Finding(
            "body-mirror",
            Severity.NOTE if plane.high_mm <= _MIRROR_LIMIT_MM else Severity.WARNING,
            "body",
            f"Half of the surface lies within {plane.median_mm:.1f} mm of its own mirror image, "
            f"nine tenths within {plane.high_mm:.1f} mm; it was turned by {-turned:+z.1f} degrees.",
            ""
            if plane.high_mm <= _MIRROR_LIMIT_MM
            else "Check that the wearer stood straight with both arms alike; "
            "mirrored parts may not fit the other side.",
            plane.high_mm,
            _MIRROR_LIMIT_MM,
            "mm",
        )
    ]
    if plane.sharpness < _SHARPNESS_LIMIT or abs(plane.yaw_rad) > _YAW_LIMIT_RAD:
        findings.append(
            Finding(
                "body-facing-unsure",
                Severity.WARNING,
                "body",
                f"The shape does not clearly say which way it faces (turned by {-turned:+.1f} "
                f"degrees, fit {plane.sharpness:.2f} times better than 10 degrees off).",
                "Check the front in the body's picture; lay the sheet's arrow towards the front.",
                plane.sharpness,
                _SHARPNESS_LIMIT,
                "",
            )
        )
    return findings


def _part_findings(levels: BodyLevels, names: object, trunk: TrunkLevels) -> list[Finding]:
    present = set(names)  # type: ignore[call-overload]
    arms = [side for side in (Side.LEFT, Side.RIGHT) if f"{side.value} arm" in present]
    findings = []
    if len(arms) == 1:
        findings.append(
            Finding(
                "body-one-arm",
                Severity.WARNING,
                f"{arms[0].other.value} arm",
                f"Only the {arms[0].value} arm stands clear of the trunk.",
                _PARTED,
            )
        )
    elif not arms:
        findings.append(
            Finding(
                "body-no-arms",
                Severity.NOTE,
                "body",
                "No arms stand clear of the trunk, so there are no arm axes and no armpits.",
            )
        )
    if "neck" not in present:
        findings.append(
            Finding("body-no-neck", Severity.NOTE, "body", "No neck is found above the shoulders.")
        )
    if trunk.waist_mm is None:
        findings.append(
            Finding(
                "body-no-waist",
                Severity.NOTE,
                "body",
                "The trunk has no narrowest place between chest and hip, so there is no waist "
                f"level ({len(levels.trunk)} levels looked at).",
            )
        )
    return findings
