"""Placing anchors on a form."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fitkit.body.body import Body, SegmentAxis
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh, rays_of
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.patch.design import (
    Anchor,
    AxisAnchor,
    BetweenAnchor,
    HeightAnchor,
    LandmarkAnchor,
    LineAnchor,
    PointAnchor,
)
from fitkit.patch.form import Form

__all__ = ["describe_anchor", "height_between_mm", "place_anchor", "place_anchors"]

TRUNK = "trunk"
_NECK = "neck"


def place_anchor(form: Form, anchor: Anchor) -> SurfacePoint:
    """Return the point of the form that an anchor means; see :func:`place_anchors`."""
    return place_anchors(form, [anchor])[0]


def place_anchors(form: Form, anchors: Sequence[Anchor]) -> tuple[SurfacePoint, ...]:
    """Return the points of the form that anchors mean.

    A ray from an axis ends where it first leaves the form: at a height where the arms hang
    beside the trunk the anchor is on the trunk, not on the arm behind it. Landmarks and
    points in space go to the nearest place of the form, which stands off the body by the
    clearance.

    Raises
    ------
    DesignError
        When the body has no such landmark or axis, the axis does not reach so far, is outside
        the form there, or is that of a limb which has not left the trunk. The cause names the
        anchor.
    """
    for anchor in anchors:
        if isinstance(anchor, LineAnchor):
            raise DesignError(
                f"The anchor {describe_anchor(anchor)} can only be used in a tape line.",
                "Give a landmark, a height and bearing, a place on a limb, or a point.",
            )
    targets = {
        i: _target(form, anchor)
        for i, anchor in enumerate(anchors)
        if isinstance(anchor, LandmarkAnchor | PointAnchor)
    }
    rays = {
        i: _ray(form, anchor)
        for i, anchor in enumerate(anchors)
        if isinstance(anchor, HeightAnchor | BetweenAnchor | AxisAnchor)
    }
    placed: dict[int, SurfacePoint] = {}
    if targets:
        points, faces, _ = nearest_on_mesh(form.mesh, np.stack(list(targets.values())))
        for i, point, face in zip(targets, points, faces, strict=True):
            placed[i] = SurfacePoint(point, int(face))
    if rays:
        origins = np.stack([origin for _, origin, _ in rays.values()])
        directions = np.stack([direction for _, _, direction in rays.values()])
        hits = rays_of(form.mesh).first_hit(origins, directions)
        for row, (i, (axis, _, direction)) in enumerate(rays.items()):
            face = int(hits.faces[row])
            _check_exit(form, anchors[i], axis, direction, face, hits.points_mm[row])
            placed[i] = SurfacePoint(hits.points_mm[row], face)
    return tuple(placed[i] for i in range(len(anchors)))


def _target(form: Form, anchor: LandmarkAnchor | PointAnchor) -> Floats:
    if isinstance(anchor, LandmarkAnchor):
        return form.body.landmark(anchor.landmark).at_mm
    point = np.array([anchor.x_mm, anchor.y_mm, anchor.z_mm])
    if not np.isfinite(point).all():
        raise DesignError(
            f"The anchor {describe_anchor(anchor)} is not finite.", "Give finite coordinates."
        )
    return point


def _ray(
    form: Form, anchor: HeightAnchor | BetweenAnchor | AxisAnchor
) -> tuple[SegmentAxis, Floats, Floats]:
    """Axis, origin on it, and direction of the ray that ends in an anchor."""
    if not isinstance(anchor, AxisAnchor):
        axis = form.body.axis(TRUNK)
        height_mm = (
            anchor.height_mm
            if isinstance(anchor, HeightAnchor)
            else height_between_mm(form.body, anchor.between, anchor.part)
        )
        origin = axis_point_at_height(axis, height_mm, f"The anchor {describe_anchor(anchor)}")
        sin, cos = math.sin(anchor.bearing_rad), math.cos(anchor.bearing_rad)
        return axis, origin, np.array([sin, -cos, 0.0])
    axis = form.body.axis(anchor.axis)
    if not 0.0 <= anchor.along <= 1.0:
        raise DesignError(
            f"The anchor {describe_anchor(anchor)} is beyond the ends of the {axis.name}.",
            "Give a place along it from 0 (at the body) to 1 (at its free end).",
        )
    return axis, axis.point_at_mm(anchor.along), axis.bearing(anchor.bearing_rad)


def _check_exit(
    form: Form, anchor: Anchor, axis: SegmentAxis, direction: Floats, face: int, exit_mm: Floats
) -> None:
    # From inside, a ray meets the surface from behind.
    corners = form.mesh.vertices[form.mesh.faces[face]]
    outward = np.cross(corners[1] - corners[0], corners[2] - corners[0]) @ direction > 0
    if face < 0 or not outward:
        raise DesignError(
            f"The anchor {describe_anchor(anchor)} cannot be placed: the {axis.name}'s axis is "
            "outside the form there.",
            "Choose another height or place along the axis.",
        )
    crotch = form.body.landmarks.get("crotch")
    # The trunk's axis goes on to the floor; below the crotch there are legs only.
    below = crotch is not None and exit_mm[2] < crotch.at_mm[2]
    if is_limb(axis) and TRUNK in form.body.axes and not below:
        trunk = form.body.axis(TRUNK)
        if _distance(trunk, exit_mm) < _distance(axis, exit_mm):
            raise DesignError(
                f"The anchor {describe_anchor(anchor)} points into the trunk: the {axis.name} has "
                "not left it there.",
                f"Choose a place farther along the {axis.name}, or another bearing.",
            )


def is_limb(axis: SegmentAxis) -> bool:
    """Whether an axis belongs to a part beside the trunk, rather than to trunk or neck."""
    return axis.name not in (TRUNK, _NECK)


def _distance(axis: SegmentAxis, point: Floats) -> float:
    along = float((point - axis.start_mm) @ axis.direction) / axis.length_mm
    return float(np.linalg.norm(point - axis.point_at_mm(min(max(along, 0.0), 1.0))))


def axis_point_at_height(axis: SegmentAxis, height_mm: float, what: str) -> Floats:
    """Return the point of an upright axis at a height above the floor, (3,) float mm.

    Raises
    ------
    DesignError
        When the axis does not reach that height.
    """
    top, bottom = float(axis.start_mm[2]), float(axis.end_mm[2])
    drop = top - bottom
    if drop == 0 or not min(top, bottom) <= height_mm <= max(top, bottom):
        raise DesignError(
            f"{what} is outside the {axis.name}, which reaches from "
            f"{min(top, bottom):.0f} to {max(top, bottom):.0f} mm above the floor.",
            "Choose a height in between.",
        )
    return axis.point_at_mm((top - height_mm) / drop)


def height_between_mm(body: Body, between: tuple[str, str], part: float) -> float:
    """Return the height a part of the way from one landmark's height to another's.

    Raises
    ------
    DesignError
        When the body has no such landmark.
    """
    low, high = (float(body.landmark(name).at_mm[2]) for name in between)
    return low + part * (high - low)


def describe_anchor(anchor: Anchor) -> str:
    """Return an anchor in words for messages, angles in degrees."""
    if isinstance(anchor, LandmarkAnchor):
        return f"'{anchor.landmark}'"
    if isinstance(anchor, HeightAnchor):
        bearing = math.degrees(anchor.bearing_rad)
        return f"at height {anchor.height_mm:.1f} mm, bearing {bearing:.0f} degrees"
    if isinstance(anchor, BetweenAnchor):
        low, high = anchor.between
        bearing = math.degrees(anchor.bearing_rad)
        return (
            f"{anchor.part:.3g} of the way from '{low}' to '{high}', bearing {bearing:.0f} degrees"
        )
    if isinstance(anchor, AxisAnchor):
        bearing = math.degrees(anchor.bearing_rad)
        return f"at {anchor.along:.3g} along the {anchor.axis}, bearing {bearing:.0f} degrees"
    if isinstance(anchor, LineAnchor):
        if anchor.along is not None:
            return f"at {anchor.along:.3g} along the line '{anchor.line}'"
        crossing = f" where it meets '{anchor.crossing}'" if anchor.crossing else ""
        return f"on the line '{anchor.line}'{crossing}"
    return f"at ({anchor.x_mm:.1f}, {anchor.y_mm:.1f}, {anchor.z_mm:.1f}) mm"
