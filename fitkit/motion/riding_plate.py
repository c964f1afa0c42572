"""Plates as they ride on the body: rigid, each with what carries it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from scipy.spatial import cKDTree

from fitkit.body.joints import Joint
from fitkit.body.side import Side
from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from fitkit.geometry.topology import border_vertices, opposite_half_edges
from fitkit.motion.pose import Pose, turned_about
from fitkit.patch.patch import Patch

__all__ = ["PivotRide", "RidingPlate", "other_side", "riding_plates", "segment_shares"]

_RIM_STEP_MM = 2.0
_FEELER_MM = 4.0
_MIRROR = np.array([-1.0, 1.0, 1.0])
_UNSURE = (0.25, 0.75)


@dataclass(frozen=True, slots=True, eq=False)
class PivotRide:
    """A pivot: a plate turns about it on its carrier by a share of a joint's turn.

    ``at_mm`` and unit ``axis``, (3,) float each, at rest.
    """

    at_mm: Floats
    axis: Floats
    joint: str
    share: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_floats(self.at_mm, (3,), "at_mm"))
        object.__setattr__(self, "axis", frozen_floats(self.axis, (3,), "axis"))


@dataclass(frozen=True, slots=True, eq=False)
class RidingPlate:
    """A plate on the body at rest.

    Attributes
    ----------
    name
        As the maker is told: ``"left shoulder cap"``.
    patch
        Name of its patch; a pair is two plates.
    side
        The wearer's side it is on.
    mesh
        The middle of its sheet.
    thickness_mm
        The sheet's.
    shares
        By joint, how far it goes with the joint's turn: 1 for what lies beyond it.
    pivot
        What it turns about on its carrier, if anything.
    unsure
        Joints that it bridges, so that where it rides is a guess.
    spacing_mm
        About how far apart places are looked at away from its rim, 0 for every vertex of the mesh.
        Along the rim they are 2 mm apart.
    chosen_mm
        (S, 3) float mm: places to look at in their stead.
    """

    name: str
    patch: str
    side: Side
    mesh: TriangleMesh
    thickness_mm: float
    shares: Mapping[str, float]
    pivot: PivotRide | None = None
    unsure: tuple[str, ...] = ()
    spacing_mm: float = 7.0
    chosen_mm: Floats | None = None
    spots_mm: Floats = field(init=False)
    """(S, 3) float mm: the places that are looked at, those of the rim first."""
    feelers_mm: Floats = field(init=False)
    """(R, 3) float mm: a place 4 mm in from each of those on the rim."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "shares", MappingProxyType(dict(self.shares)))
        if self.chosen_mm is None:
            rim, feelers = _rim(self.mesh)
            inner = self.mesh.vertices[~border_vertices(self.mesh)]
            spots = np.vstack([rim, _thinned(inner, self.spacing_mm)])
        else:
            spots, feelers = self.chosen_mm, np.zeros((0, 3))
        object.__setattr__(self, "spots_mm", frozen_floats(spots, (None, 3), "spots_mm"))
        object.__setattr__(self, "feelers_mm", frozen_floats(feelers, (None, 3), "feelers_mm"))

    def carried(self, pose: Pose) -> RigidTransform:
        """Return the plate's motion from rest in a pose."""
        carrier = pose.carried(self.shares)
        if self.pivot is None:
            return carrier
        angle = self.pivot.share * pose.angle_about(self.pivot.joint, self.pivot.axis)
        return carrier @ turned_about(self.pivot.at_mm, angle * self.pivot.axis)

    def goes_with(self, other: RidingPlate, joints: Sequence[str]) -> bool:
        """Tell whether it stays where it is on another plate while given joints turn."""
        same = all(self.shares.get(name, 0.0) == other.shares.get(name, 0.0) for name in joints)
        free = [one.pivot for one in (self, other) if one.pivot is not None]
        return same and not any(pivot.joint in joints for pivot in free)


def segment_shares(joints: Mapping[str, Joint], segment: str) -> dict[str, float]:
    """Return the shares of what rides on a segment: 1 for every joint between it and the trunk.

    Raises
    ------
    DesignError
        When the body has no such segment.
    """
    held = {joint.moves: joint for joint in joints.values()}
    if segment not in held and segment not in {joint.holds for joint in joints.values()}:
        known = dict.fromkeys(
            name for joint in joints.values() for name in (joint.holds, joint.moves)
        )
        raise DesignError(
            f"This body has no segment called '{segment}'.", f"Use one of: {', '.join(known)}."
        )
    shares: dict[str, float] = {}
    while segment in held:
        shares[held[segment].name] = 1.0
        segment = held[segment].holds
    return shares


def riding_plates(
    patches: Sequence[Patch],
    skin: TriangleMesh,
    skin_shares: Mapping[str, Floats],
    joints: Mapping[str, Joint],
    *,
    rides: Mapping[str, str] = MappingProxyType({}),
    shared: Mapping[str, Mapping[str, float]] = MappingProxyType({}),
    pivots: Mapping[str, PivotRide] = MappingProxyType({}),
) -> tuple[RidingPlate, ...]:
    """Return every plate, both of each pair, riding on the segment that most of it covers.

    Parameters
    ----------
    skin, skin_shares
        The body's surface and, (V,) float by joint, how far it goes with each.
    rides
        Segment by patch where the maker says so; of a pair that of the side it is drawn on.
    shared
        Shares of joints by patch, likewise, for plates that take part of a joint's turn.
    pivots
        By patch, likewise.

    Raises
    ------
    DesignError
        When a ride or a pivot names a patch, segment or joint that is not there.
    """
    names = [patch.design.name for patch in patches]
    for name in (*rides, *shared, *pivots):
        if name not in names:
            raise DesignError(
                f"There is no patch called '{name}' to say how it rides.",
                f"Use one of: {', '.join(names)}.",
            )
    near = cKDTree(skin.vertices)
    plates = []
    for patch in patches:
        design = patch.design
        sides = [design.side] + [design.side.other] * design.paired
        beyond = _beyond(patch.mesh, near, skin_shares)
        if design.paired:
            # Both of a pair ride alike: what each side says is weighed together.
            mirror = _beyond(patch.mesh.mirrored(), near, skin_shares)
            beyond = {
                name: 0.5 * (beyond[name] + mirror.get(other_side(name), beyond[name]))
                for name in beyond
            }
        for side in sides:
            other = side is not design.side
            mesh = patch.mesh.mirrored() if other else patch.mesh
            own = {other_side(name) if other else name: far for name, far in beyond.items()}
            shares = {name: 1.0 for name, far in own.items() if far > 0.5 and name in joints}
            # A forearm's turning is spread along it: a plate there takes what it covers of it.
            spread = [name for name in own if name in joints and name.endswith(" forearm")]
            shares |= {name: own[name] for name in spread if own[name] > 0.0}
            unsure = tuple(
                name
                for name, far in own.items()
                if _UNSURE[0] < far < _UNSURE[1] and name not in spread
            )
            if design.name in rides:
                segment = rides[design.name]
                shares = segment_shares(joints, other_side(segment) if other else segment)
                unsure = ()
            if design.name in shared:
                told = shared[design.name]
                shares = {other_side(k) if other else k: part for k, part in told.items()}
                unsure = ()
            pivot = pivots.get(design.name)
            if pivot is not None and pivot.joint not in joints:
                raise DesignError(
                    f"The pivot of '{design.name}' follows the joint '{pivot.joint}', which this "
                    "body does not have.",
                    f"Use one of: {', '.join(joints)}.",
                )
            if pivot is not None and other:
                # A mirror image turns the other way about the mirrored axis.
                pivot = PivotRide(
                    pivot.at_mm * _MIRROR,
                    -pivot.axis * _MIRROR,
                    other_side(pivot.joint),
                    pivot.share,
                )
            name = f"{side.value} {design.name}" if design.paired else design.name
            plates.append(
                RidingPlate(
                    name, design.name, side, mesh, design.thickness_mm, shares, pivot, unsure
                )
            )
    return tuple(plates)


def other_side(name: str) -> str:
    """Return the name of the joint or segment on the other side; the same in the middle."""
    first, _, rest = name.partition(" ")
    return f"{Side(first).other.value} {rest}" if first in ("left", "right") else name


def _beyond(
    mesh: TriangleMesh, near: cKDTree, skin_shares: Mapping[str, Floats]
) -> dict[str, float]:
    """Return how much of a plate's area lies beyond each joint, 0 to 1."""
    under = near.query(mesh.corners.mean(axis=1))[1]
    area = mesh.face_areas_mm2()
    return {name: float(area @ share[under] / area.sum()) for name, share in skin_shares.items()}


def _thinned(points: Floats, spacing_mm: float) -> Floats:
    """Return one point for each cell of a grid, that nearest to the cell's middle."""
    if spacing_mm <= 0 or len(points) == 0:
        return points
    cell = np.floor(points / spacing_mm)
    off = np.linalg.norm(points / spacing_mm - cell - 0.5, axis=1)
    order = np.lexsort([off, *cell.T])
    first = np.r_[True, (np.diff(cell[order], axis=0) != 0).any(axis=1)]
    return points[order[first]]


def _rim(mesh: TriangleMesh) -> tuple[Floats, Floats]:
    """Return points along the border, at most 2 mm apart, and a place 4 mm in from each."""
    border = np.flatnonzero(opposite_half_edges(mesh) < 0)
    face, corner = np.divmod(border, 3)
    corners = mesh.corners[face]
    start, end, third = (corners[np.arange(len(face)), (corner + k) % 3] for k in range(3))
    way = end - start
    length = np.linalg.norm(way, axis=1, keepdims=True)
    unit = way / np.maximum(length, 1e-12)
    inward = third - start
    inward = inward - np.einsum("ni,ni->n", inward, unit)[:, np.newaxis] * unit
    inward = inward / np.maximum(np.linalg.norm(inward, axis=1, keepdims=True), 1e-12)
    parts = np.maximum(np.ceil(length[:, 0] / _RIM_STEP_MM).astype(np.int64), 1)
    row = np.repeat(np.arange(len(parts)), parts)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[row]
    points = start[row] + share[:, np.newaxis] * way[row]
    return points, points + _FEELER_MM * inward[row]
