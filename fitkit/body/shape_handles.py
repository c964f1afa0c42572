"""The handles by which a body's shape is pulled: profiles of girth and length along its parts.

A shift of the body is linear in the numbers of the handles. Trunk, neck and head form one
column: every level of it is scaled about its middle and lifted or lowered. An arm rides on the
column at its armpit without being scaled by it, and has its own profiles along its own middle;
a leg has one that widens it outwards, so that the legs never cross.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from fitkit.body.arm_weight import arm_weight
from fitkit.body.body import Body
from fitkit.body.centre_curve import CentreCurve
from fitkit.body.length_profile import LengthProfile
from fitkit.body.side import Side
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.nearest import nearest_on_mesh

__all__ = ["ShapeHandles", "shape_handles"]

_KNOT_MM = 20.0
_COLUMN_REACH_MM = 55.0
_LIMB_REACH_MM = 60.0
_LENGTH_REACH_MM = 150.0
_UP = np.array([0.0, 0.0, 1.0])
_SMOOTH_MM = 30.0
# A body whose lowest point is nearer than this to the floor stands on it.
_STANDING_MM = 30.0
_LEG_BLEND_MM = 90.0
_FLATTER_COSTS = 25.0


@dataclass(frozen=True, slots=True, eq=False)
class _Handle:
    """One profile: numbers ``at`` .. ``at + count`` of the whole; terms (rows, vectors)."""

    name: str
    at: int
    count: int
    terms: tuple[tuple[sp.csr_array, Floats], ...]


@dataclass(frozen=True, slots=True, eq=False)
class ShapeHandles:
    """Every handle of a body.

    Attributes
    ----------
    count
        How many numbers there are.
    energy
        (count, count) float: the quadratic form that the gentlest change makes least, in mm2.
    notes
        What could not be given handles of its own, in words.
    """

    count: int
    energy: Floats
    notes: tuple[str, ...] = ()
    _handles: tuple[_Handle, ...] = field(default=(), repr=False)

    def shift_mm(self, numbers: Floats) -> Floats:
        """(N, 3) float mm: shift of the vertices, then of the further points."""
        shift = np.zeros((self._handles[0].terms[0][1].shape[0], 3))
        for handle in self._handles:
            own = numbers[handle.at : handle.at + handle.count]
            for rows, vectors in handle.terms:
                shift += (rows @ own)[:, np.newaxis] * vectors
        return shift

    def answer(self, gradient: sp.csr_array) -> Floats:
        """(count,) float: how a measure answers to every number.

        Parameters
        ----------
        gradient
            (V, 3) sparse: how it answers to the shift of every vertex.
        """
        touched: Ints = np.unique(gradient.nonzero()[0])
        pull = gradient[touched].toarray()
        answer = np.zeros(self.count)
        for handle in self._handles:
            for rows, vectors in handle.terms:
                along = np.einsum("ni,ni->n", pull, vectors[touched])
                answer[handle.at : handle.at + handle.count] += rows[touched].T @ along
        return answer


def shape_handles(body: Body, further_mm: Floats, on_column: Sequence[bool]) -> ShapeHandles:
    """Return the handles of a body.

    Parameters
    ----------
    further_mm
        (P, 3) float mm: points beside the vertices that must move along, such as axis ends.
    on_column
        (P,) whether such a point belongs to trunk or neck, else to what is nearest to it.
    """
    vertices = body.mesh.vertices
    points = np.vstack([vertices, further_mm])
    _, near_faces, _ = nearest_on_mesh(body.mesh, further_mm)
    near = body.mesh.faces[near_faces, 0]
    free = ~np.asarray(on_column, dtype=bool)

    def with_further(of_vertices: Floats) -> Floats:
        return np.concatenate([of_vertices, np.where(free, of_vertices[near], 0.0)])

    area = _vertex_areas(body)
    arms = {side: arm_weight(body, side) for side in (Side.LEFT, Side.RIGHT)}
    on_arm = sum((w for w in arms.values() if w is not None), np.zeros(len(vertices)))
    low, high = body.mesh.bounds_mm()[:, 2]
    build = _Builder()
    weight = area * (on_arm < 0.5)
    middle = CentreCurve.through(
        vertices * np.array([0.0, 1.0, 1.0]), weight, _UP, smooth_mm=_SMOOTH_MM
    )
    carried = 1.0 - with_further(on_arm)
    riders = [
        (with_further(w), body.landmarks[f"{side.value} armpit"].at_mm)
        for side, w in arms.items()
        if w is not None
    ]
    _add_column(build, points, carried, riders, middle, (float(low), float(high)))
    notes = []
    for side, own in arms.items():
        if own is not None:
            _add_arm(build, body, side, points, with_further(own), area)
        elif f"{side.value} arm" in body.axes:
            notes.append(f"the {side.value} arm does not stand clear of the trunk")
    _add_legs(build, body, points, carried, area)
    return build.finished(tuple(notes))


def _vertex_areas(body: Body) -> Floats:
    shares = np.repeat(body.mesh.face_areas_mm2() / 3.0, 3)
    count = len(body.mesh.vertices)
    return np.bincount(body.mesh.faces.ravel(), weights=shares, minlength=count).astype(np.float64)


class _Builder:
    """Gathers handles and the energies of their numbers."""

    def __init__(self) -> None:
        self.handles: list[_Handle] = []
        self.energies: list[Floats] = []
        self.at = 0

    def add(self, name: str, terms: Sequence[tuple[sp.csr_array, Floats]], energy: Floats) -> None:
        self.handles.append(_Handle(name, self.at, len(energy), tuple(terms)))
        self.energies.append(energy)
        self.at += len(energy)

    def finished(self, notes: tuple[str, ...]) -> ShapeHandles:
        energy = sp.block_diag(self.energies).toarray()
        return ShapeHandles(self.at, energy, notes, tuple(self.handles))


def _add_column(
    build: _Builder,
    points: Floats,
    carried: Floats,
    riders: Sequence[tuple[Floats, Floats]],
    middle: CentreCurve,
    span: tuple[float, float],
) -> None:
    """Scale every level in breadth and depth, and shift it in height; arms ride along."""
    low, high = span
    across = points - middle.at(points)
    across[:, 2] = 0.0
    radius_mm = float(np.sqrt((across**2).sum(axis=1) @ carried / carried.sum()))
    spread = LengthProfile.over(low, high, knot_mm=_KNOT_MM)
    rows = spread.rows(points[:, 2])
    energy = radius_mm**2 * spread.energy(value=1, slope=2, bend=1, reach_mm=_COLUMN_REACH_MM)
    for name, ways, cost in (
        ("spread", np.array([1.0, 1.0, 0.0]), 1.0),
        ("flatness", np.array([1.0, -1.0, 0.0]), _FLATTER_COSTS),
    ):
        terms = [(_weighed(rows, carried), across * ways)]
        for weight, armpit in riders:
            at_armpit = (armpit - middle.at(armpit[np.newaxis])[0]) * ways
            own = _weighed(_same_rows(spread, armpit[2], weight), np.ones_like(weight))
            terms.append((own, np.broadcast_to(at_armpit, points.shape)))
        build.add(f"column {name}", terms, cost * energy)
    length = LengthProfile.over(low, high, knot_mm=2 * _KNOT_MM)
    lift = length.energy(value=1e-4, slope=1.0, bend=0.5, reach_mm=_LENGTH_REACH_MM)
    if low < _STANDING_MM:
        lift[0, 0] += 1e4
    up = np.broadcast_to(_UP, points.shape)
    terms = [(_weighed(length.rows(points[:, 2]), carried), up)]
    terms += [(_same_rows(length, armpit[2], weight), up) for weight, armpit in riders]
    build.add("column length", terms, lift)


def _add_arm(
    build: _Builder, body: Body, side: Side, points: Floats, weight: Floats, area: Floats
) -> None:
    axis = body.axes[f"{side.value} arm"]
    armpit = body.landmarks[f"{side.value} armpit"].at_mm
    own = weight[: len(area)]
    vertices = body.mesh.vertices
    direction = axis.direction
    start = float(axis.start_mm @ direction)
    free_from = float(armpit @ direction)
    along = vertices @ direction
    below = (own > 0.99) & (along > free_from)
    # Above the armpit a slice is no ring; there the middle is the straight axis.
    line = axis.start_mm + (along - start)[:, np.newaxis] * direction
    samples = np.where(below[:, np.newaxis], vertices, line)[own > 0.5]
    middle = CentreCurve.through(samples, area[own > 0.5], direction, smooth_mm=15.0)
    across = points - middle.at(points)
    low, high = float(middle.along_mm[0]), float(middle.along_mm[-1])
    places = points @ direction
    radius_mm = float(np.sqrt((across[: len(area)][below] ** 2).sum(axis=1).mean()))
    spread = LengthProfile.over(low, high, knot_mm=_KNOT_MM)
    build.add(
        f"{axis.name} spread",
        [(_weighed(spread.rows(places), weight), across)],
        radius_mm**2 * spread.energy(value=1, slope=2, bend=1, reach_mm=_LIMB_REACH_MM),
    )
    length = LengthProfile.over(free_from, high, knot_mm=2 * _KNOT_MM)
    longer = length.energy(value=1e-4, slope=1.0, bend=0.5, reach_mm=_LENGTH_REACH_MM)
    longer[0, 0] += 1e4
    build.add(
        f"{axis.name} length",
        [(_weighed(length.rows(places), weight), np.broadcast_to(direction, points.shape))],
        longer,
    )


def _add_legs(build: _Builder, body: Body, points: Floats, carried: Floats, area: Floats) -> None:
    """Widen each leg outwards from its inner side, below where the two part."""
    crotch = body.landmarks.get("crotch")
    if crotch is None:
        return
    vertices = body.mesh.vertices
    crotch_mm = float(crotch.at_mm[2])
    low = float(vertices[:, 2].min())
    if crotch_mm - low < 2 * _LEG_BLEND_MM:
        return
    fade = np.clip((crotch_mm - points[:, 2]) / _LEG_BLEND_MM, 0.0, 1.0)
    for side in (Side.LEFT, Side.RIGHT):
        sign = 1.0 if side is Side.LEFT else -1.0
        own = (sign * vertices[:, 0] > 0) & (vertices[:, 2] < crotch_mm)
        own &= carried[: len(area)] > 0.5
        if not own.any():
            continue
        middle = CentreCurve.through(vertices[own], area[own], _UP, smooth_mm=_SMOOTH_MM)
        centre = middle.at(points)
        gap = np.abs(vertices[own] - middle.at(vertices[own]))[:, 0].mean()
        across = points - centre + np.array([sign * 1.3 * gap, 0.0, 0.0])
        across[:, 2] = 0.0
        weight = fade * fade * (3.0 - 2.0 * fade) * carried * (sign * points[:, 0] > 0)
        spread = LengthProfile.over(low, crotch_mm, knot_mm=2 * _KNOT_MM)
        build.add(
            f"{side.value} leg spread",
            [(_weighed(spread.rows(points[:, 2]), weight), across)],
            gap**2 * spread.energy(value=1, slope=2, bend=1, reach_mm=_COLUMN_REACH_MM),
        )


def _weighed(rows: sp.csr_array, weight: Floats) -> sp.csr_array:
    return sp.csr_array(sp.diags_array(weight) @ rows)


def _same_rows(profile: LengthProfile, at_mm: float, weight: Floats) -> sp.csr_array:
    """Return rows that all read the profile at one place, times a weight each."""
    row = profile.rows(np.array([at_mm]))
    return sp.csr_array(sp.csr_array(weight[:, np.newaxis]) @ row)
