"""How far each vertex belongs to an arm: 0 on the trunk, 1 on the free arm, smooth between."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from fitkit.body.body import Body
from fitkit.body.harmonic_share import harmonic_share
from fitkit.body.side import Side
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.topology import edges

__all__ = ["arm_weight"]

_BELOW_ARMPIT_MM = 15.0
# The arm's pull fades over the shoulder up to this share of the way to the armpit.
_INNER_SHARE = 0.45


def arm_weight(body: Body, side: Side) -> Floats | None:
    """(V,) float 0..1: how far each vertex belongs to an arm; None where none stands clear.

    Over the shoulder, between free arm and trunk, the weight is the harmonic function of the
    surface, eased in at both ends.
    """
    axis = body.axes.get(f"{side.value} arm")
    armpit = body.landmarks.get(f"{side.value} armpit")
    if axis is None or armpit is None:
        return None
    sign = 1.0 if side is Side.LEFT else -1.0
    points = body.mesh.vertices
    cut_mm = float(armpit.at_mm[2]) - _BELOW_ARMPIT_MM
    pairs, _ = edges(body.mesh)
    parted = _parted(body, pairs, cut_mm, axis.point_at_mm(0.95), armpit.at_mm)
    if parted is None:
        return None
    arm, trunk = parted
    outward = sign * points[:, 0]
    above = points[:, 2] >= cut_mm
    inner = _INNER_SHARE * sign * float(armpit.at_mm[0])
    free = above & (outward > inner) & ~arm & ~trunk
    return harmonic_share(body.mesh, np.where(arm, 1.0, 0.0), free)


def _parted(
    body: Body, pairs: np.ndarray, cut_mm: float, in_arm: Floats, armpit: Floats
) -> tuple[Bools, Bools] | None:
    """Return which vertices below a level hang on the arm and which on the trunk."""
    points = body.mesh.vertices
    low = points[:, 2] < cut_mm
    both = pairs[low[pairs].all(axis=1)]
    graph = sp.coo_array(
        (np.ones(len(both), dtype=np.int8), (both[:, 0], both[:, 1])),
        shape=(len(points), len(points)),
    )
    _, label = connected_components(graph, directed=False)
    below = np.flatnonzero(low)
    if len(below) == 0:
        return None
    arm_label = label[below[np.argmin(np.linalg.norm(points[below] - in_arm, axis=1))]]
    near_level = below[points[below, 2] > cut_mm - 40.0]
    if len(near_level) == 0:
        return None
    trunk_label = label[near_level[np.argmin(np.abs(points[near_level, 0]))]]
    if arm_label == trunk_label or abs(float(armpit[0])) < 1.0:
        return None
    arm: Bools = low & (label == arm_label)
    trunk: Bools = low & ~arm
    return arm, trunk
