"""Telling a place of a form as the maker would: by height or limb, bearing and landmark."""

from __future__ import annotations

import math

import numpy as np

from fitkit.body.body import Body, SegmentAxis
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.patch.anchor import TRUNK, describe_anchor, is_limb, place_anchor
from fitkit.patch.design import Anchor, AxisAnchor, HeightAnchor, PointAnchor
from fitkit.patch.form import Form

__all__ = ["anchor_at", "place_in_words"]

# An anchor means a place when it comes back to within this of it.
_SAME_PLACE_MM = 2.0


def place_in_words(body: Body, point_mm: Floats) -> str:
    """Return where a point is: height or limb, bearing, and the landmark nearest to it."""
    anchor = _polar_anchor(body, np.asarray(point_mm, dtype=np.float64))
    words = describe_anchor(PointAnchor(*map(float, point_mm)) if anchor is None else anchor)
    marks = [
        (float(np.linalg.norm(mark.at_mm - point_mm)), name)
        for name, mark in body.landmarks.items()
    ]
    if marks:
        distance, name = min(marks)
        words += f", {distance:.0f} mm from the landmark '{name}'"
    return words


def anchor_at(form: Form, point_mm: Floats) -> Anchor:
    """Return the anchor that means a place of a form, by height or limb and bearing if it can be.

    Numbers are rounded to what one would write down, a millimetre or so.
    """
    anchor = _polar_anchor(form.body, np.asarray(point_mm, dtype=np.float64))
    if anchor is not None:
        try:
            back = place_anchor(form, anchor).point_mm
        except DesignError:
            back = np.full(3, np.inf)
        if np.linalg.norm(back - point_mm) < _SAME_PLACE_MM:
            return anchor
    x, y, z = (round(float(value), 1) for value in point_mm)
    return PointAnchor(x, y, z)


def _polar_anchor(body: Body, point: Floats) -> HeightAnchor | AxisAnchor | None:
    """Tell a place from the axis that it belongs to, rounded; None where no axis passes it."""
    reached = [
        (float(np.linalg.norm(point - axis.point_at_mm(along))), axis, along)
        for axis in body.axes.values()
        if axis.length_mm > 0 and 0.0 <= (along := _along(axis, point)) <= 1.0
    ]
    limbs = [row for row in reached if is_limb(row[1])]
    trunk = next((row for row in reached if row[1].name == TRUNK), None)
    limb = min(limbs, key=lambda row: row[0], default=None)
    if limb is not None and (trunk is None or limb[0] < trunk[0]):
        _, axis, along = limb
        shift = point - axis.point_at_mm(along)
        left, front = (float(shift @ axis.bearing(turn)) for turn in (math.pi / 2, 0.0))
        return AxisAnchor(axis.name, round(along, 3), _bearing(left, front))
    if trunk is not None:
        _, axis, along = trunk
        shift = point - axis.point_at_mm(along)
        bearing = _bearing(float(shift[0]), -float(shift[1]))
        return HeightAnchor(round(float(point[2]), 1), bearing)
    return None


def _along(axis: SegmentAxis, point: Floats) -> float:
    return float((point - axis.start_mm) @ axis.direction) / axis.length_mm


def _bearing(left: float, front: float) -> float:
    """Bearing in radians, rounded to a tenth of a degree, from 0 up to a whole turn."""
    degrees = round(math.degrees(math.atan2(left, front)) % 360.0, 1)
    return math.radians(degrees % 360.0)
