"""Padded places: how far clothing or pads of the wearer's raise the body, place by place."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np

from fitkit.body.arm_weight import arm_weight
from fitkit.body.body import Body
from fitkit.body.side import Side
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.patch.anchor import TRUNK, place_anchor
from fitkit.patch.design import LinedPlace, PaddedPlace, Padding, RangePlace, RoundPlace
from fitkit.patch.form import Form

__all__ = ["RegionOnBody", "padding_mm", "run_out"]


RegionOnBody: TypeAlias = Callable[[LinedPlace], TriangleMesh]
"""Cuts the region of a lined place out of the body's own surface."""


def padding_mm(
    body: Body, pads: Sequence[Padding], *, region_on_body: RegionOnBody | None = None
) -> Floats:
    """(V,) float mm: how far pads raise the body at each vertex; pads over each other add up.

    Raises
    ------
    DesignError
        When a pad's place is not on the body.
    """
    raised = np.zeros(len(body.mesh.vertices))
    for pad in pads:
        try:
            beside, share = _beside(body, pad.where, region_on_body)
        except DesignError as error:
            raise DesignError(
                f"In the padding '{pad.name}': {error.cause}", error.remedy
            ) from error
        own = pad.thickness_mm * share * run_out(beside, pad.runout_mm)
        if not (own > 0.5 * pad.thickness_mm).any():
            raise DesignError(
                f"The padding '{pad.name}' lies nowhere on the body.",
                "Give it a longer stretch, a larger radius or another place.",
            )
        raised += own
    return raised


def run_out(beside_mm: Floats, length_mm: float) -> Floats:
    """(N,) float: 1 where nothing lies beside, falling smoothly to 0 at a length."""
    share = np.clip(1.0 - beside_mm / max(length_mm, 1e-9), 0.0, 1.0)
    fading: Floats = share * share * (3.0 - 2.0 * share)
    return fading


def _beside(
    body: Body, where: PaddedPlace, region_on_body: RegionOnBody | None
) -> tuple[Floats, Floats]:
    """How far beside a place each vertex lies, mm, and how much of it is on the same limb."""
    vertices = body.mesh.vertices
    if isinstance(where, RangePlace):
        return _beside_range(body, where)
    if isinstance(where, RoundPlace):
        middle = place_anchor(Form(body.mesh, 0.0, body), where.centre).point_mm
        reach = np.linalg.norm(vertices - middle, axis=1)
        return np.maximum(reach - where.radius_mm, 0.0), np.ones(len(vertices))
    if region_on_body is None:
        raise DesignError(
            "Its tape lines are not at hand.", "Give its place as a stretch or a round instead."
        )
    region = region_on_body(where)
    return nearest_on_mesh(region, vertices)[2], np.ones(len(vertices))


def _beside_range(body: Body, where: RangePlace) -> tuple[Floats, Floats]:
    axis = body.axis(where.axis)
    ends = sorted(
        float((body.landmark(end).at_mm - axis.start_mm) @ axis.direction)
        if isinstance(end, str)
        else end * axis.length_mm
        for end in (where.start, where.end)
    )
    shift = body.mesh.vertices - axis.start_mm
    along = shift @ axis.direction
    beside = np.maximum(np.maximum(ends[0] - along, along - ends[1]), 0.0)
    if where.bearings_rad is not None:
        front, left = axis.bearing(0.0), axis.bearing(0.5 * math.pi)
        bearing = np.arctan2(shift @ left, shift @ front)
        first, last = where.bearings_rad
        half = 0.5 * ((last - first) % (2 * math.pi) or 2 * math.pi)
        off = np.abs((bearing - first - half + math.pi) % (2 * math.pi) - math.pi) - half
        radius = np.hypot(shift @ left, shift @ front)
        beside = np.hypot(beside, np.maximum(off, 0.0) * radius)
    return beside, _share_of(body, where.axis)


def _share_of(body: Body, axis: str) -> Floats:
    """(V,) float 0..1: how far each vertex belongs to the trunk or the named arm."""
    arms = {f"{side.value} arm": arm_weight(body, side) for side in (Side.LEFT, Side.RIGHT)}
    own = arms.get(axis)
    if own is not None:
        return own
    on_arms = sum((w for w in arms.values() if w is not None), np.zeros(len(body.mesh.vertices)))
    return 1.0 - on_arms if axis == TRUNK else np.ones(len(body.mesh.vertices))
