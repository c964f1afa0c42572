"""What a plate is, as a maker bends it: rolled about an axis, bowled or saddled, how tight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.sparse import coo_matrix

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.geometry.arrays import Bools, Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["PlateKind", "PlateShape", "plate_shape"]

PlateKind = Literal["flat", "rolled", "bowl", "saddle", "uneven"]

# Bends are evened out over about this, or the waves of a scan would count as tight places.
_EVENED_MM = 12.0
# A plate that rises less than this, or than its own thickness, is called flat or straight;
# common practice, no source.
_STRAIGHT_MM = 1.5
# Tight places are those beyond which no more than this share of the plate is bent tighter.
_TIGHT_SHARE = 0.05
# The ends of a rolled plate are its first and last quarter along the axis.
_END_SHARE = 0.25
_ENDS = 0.125
# Below this length of their mean the axes of a plate's faces turn across the blank.
_ALIKE = 0.4
# Without an axis, radii this many times apart say that the plate has no one shape.
_EVENLY = 3.0
_RULE_MM = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class PlateShape:
    """How a plate is curved, in directions told on the blank.

    Attributes
    ----------
    kind
        ``flat``; ``rolled``: bent one way; ``bowl``: bulging, or hollow, both ways; ``saddle``:
        bulging one way and hollow the other.
    axis
        (2,) float, unit: the direction on the blank about which it is bent most, that is the
        one along which it is straightest; its y is not negative. None where it turns across the
        blank, as on an unrolled cone.
    across_mm, along_mm
        Radius at the middle of the sheet in most places, across the axis and along it: above zero
        where the outside bulges, below where it is hollow, infinite where it is straight.
    tightest_mm
        The radius that 95 % of the plate does not go below, in any direction.
    ends_mm
        Radius across the axis at its start and end, where a plate that tapers differs; without an
        axis the radii that an eighth of the plate is bent tighter, and wider, than.
    size_mm
        How far the blank reaches along the axis and across it; without one, the side of a square
        as large.
    """

    kind: PlateKind
    axis: Floats | None
    across_mm: float
    along_mm: float
    tightest_mm: float
    ends_mm: tuple[float, float]
    size_mm: tuple[float, float]

    def __post_init__(self) -> None:
        if self.axis is not None:
            object.__setattr__(self, "axis", frozen_floats(self.axis, (2,), "axis"))

    @property
    def hollow(self) -> bool:
        """Whether the outside is hollow across the axis."""
        return self.across_mm < 0

    def rise_mm(self, *, along: bool = False) -> tuple[float, float]:
        """Return the gap amid a straight edge laid on the plate, and that edge's length, mm.

        The edge is 100 mm long, or as long as the plate's own chord where that is less. The gap
        is ``R - sqrt(R^2 - (c/2)^2)``, of ``R = c^2 / (8 h) + h / 2``.
        """
        radius = abs(self.along_mm if along else self.across_mm)
        if not np.isfinite(radius):
            return 0.0, _RULE_MM
        reach = self.size_mm[0 if along else 1]
        # The chord of the plate's own arc, at most its diameter.
        chord = 2.0 * radius * np.sin(min(reach / (2.0 * radius), 0.5 * np.pi))
        chord = float(min(_RULE_MM, 10.0 * np.floor(0.8 * chord / 10.0 + 1e-9) or 0.8 * chord))
        return float(radius - np.sqrt(max(radius**2 - 0.25 * chord**2, 0.0))), chord


def plate_shape(flat: FlatPatch) -> PlateShape:
    """Return how a plate is curved.

    Each face's second fundamental form is pulled back to the blank, so that directions are those
    which the maker sees there, evened out over a thumb's width, and taken over the plate.

    References
    ----------
    S. Rusinkiewicz, *Estimating curvatures and their derivatives on triangle meshes*, 3DPVT 2004,
    10.1109/TDPVT.2004.1335277 (curvature of a face from its vertices' normals).
    """
    bend, weights = _evened_bends(flat)
    values, frames = np.linalg.eigh(bend)
    most = np.argmax(np.abs(values), axis=1)
    faces = np.arange(len(values))
    across_k, along_k = values[faces, most], values[faces, 1 - most]
    sure = weights * (np.abs(across_k) - np.abs(along_k))
    axis = _common_axis(frames[faces, :, 1 - most], sure)
    middles = flat.flat_mm[flat.faces].mean(axis=1)
    if axis is not None:
        across = np.array([-axis[1], axis[0]])
        ways = _fanned(axis, frames[faces, :, 1 - most], sure, middles @ across)
        along_k = np.einsum("fa,fab,fb->f", ways, bend, ways)
        across_k = np.trace(bend, axis1=1, axis2=2) - along_k
        size_mm = float(np.ptp(flat.flat_mm @ axis)), float(np.ptp(flat.flat_mm @ across))
        place = middles @ axis
        share = (place - place.min()) / max(float(np.ptp(place)), 1e-9)
        ends = share <= _END_SHARE, share >= 1.0 - _END_SHARE
        ends_k = [_quantile(across_k[end], weights[end], 0.5) for end in ends]
    else:
        side = float(np.sqrt(flat.form.area_mm2()))
        size_mm = side, side
        # By sign, so that a saddle's two bends do not change places from face to face.
        low, high = (_quantile(values[:, k], weights, 0.5) for k in (0, 1))
        across_k, along_k = values[:, ::-1].T if abs(high) >= abs(low) else values.T
        ends_k = [_quantile(across_k, weights, share) for share in (_ENDS, 1.0 - _ENDS)]
    straight = max(_STRAIGHT_MM, flat.design.thickness_mm)
    across_mm = _radius_mm(_quantile(across_k, weights, 0.5), size_mm[1], straight)
    along_mm = _radius_mm(_quantile(along_k, weights, 0.5), size_mm[0], straight)
    tight = _quantile(np.abs(values).max(axis=1), weights, 1.0 - _TIGHT_SHARE)
    return PlateShape(
        _kind(across_mm, along_mm, axis is not None),
        axis,
        across_mm,
        along_mm,
        1.0 / tight if tight > 1e-6 else np.inf,
        (_radius_mm(ends_k[0], size_mm[1], 0.0), _radius_mm(ends_k[1], size_mm[1], 0.0)),
        size_mm,
    )


def _common_axis(ways: Floats, sure: Floats) -> Floats | None:
    """Return the direction that the faces' axes share, None where they turn across the blank.

    Parameters
    ----------
    ways
        (F, 2) float, unit; either way along each.
    sure
        (F,) float: area, times by how much the bend across an axis is more than along it.
    """
    # Directions without a sense are averaged at twice their angle.
    angle = 2.0 * np.arctan2(ways[:, 1], ways[:, 0])
    mean = np.array([sure @ np.cos(angle), sure @ np.sin(angle)])
    whole = float(sure.sum())
    if whole > 0 and float(np.linalg.norm(mean)) < _ALIKE * whole:
        return None
    half = 0.5 * float(np.arctan2(mean[1], mean[0]))
    axis = np.array([np.cos(half), np.sin(half)])
    return -axis if axis[1] < 0 else axis


def _fanned(axis: Floats, ways: Floats, sure: Floats, across_mm: Floats) -> Floats:
    """Return (F, 2) float, unit: the axis turned evenly across the blank, as a cone's rulings fan.

    By least squares of the faces' own axes ``ways``; ``across_mm`` (F,) is their place.
    """
    off = 2.0 * (np.arctan2(ways[:, 1], ways[:, 0]) - np.arctan2(axis[1], axis[0]))
    lean = 0.5 * np.arctan2(np.sin(off), np.cos(off))
    place = across_mm - sure @ across_mm / max(float(sure.sum()), 1e-300)
    rate = float(sure @ (lean * place)) / max(float(sure @ place**2), 1e-300)
    angle = np.arctan2(axis[1], axis[0]) + rate * place
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _evened_bends(flat: FlatPatch) -> tuple[Floats, Floats]:
    """Return (F, 2, 2) float 1/mm: each face's bend on the blank; (F,): its share of the area."""
    rough, inner = _bend_of_faces(flat.form, flat.flat_mm)
    areas = flat.form.face_areas_mm2()
    edge = float(np.sqrt(areas.mean()))
    rounds = int(np.clip((_EVENED_MM / max(edge, 1e-6)) ** 2 / 2.0, 1, 60))
    return _evened(flat.form, rough, inner, rounds), areas / areas.sum()


def _bend_of_faces(form: TriangleMesh, flat_mm: Floats) -> tuple[Floats, Bools]:
    """Return (F, 2, 2): ``(dx/du)^T dn/du`` made symmetric, and which faces touch no border.

    Normals at a border look to one side only.
    """
    normals = form.vertex_normals()
    corners = flat_mm[form.faces]
    sides = np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=2)
    back = np.linalg.inv(sides)
    at, turn = form.vertices[form.faces], normals[form.faces]
    moved = np.stack([at[:, 1] - at[:, 0], at[:, 2] - at[:, 0]], axis=2) @ back
    turned = np.stack([turn[:, 1] - turn[:, 0], turn[:, 2] - turn[:, 0]], axis=2) @ back
    bend = np.einsum("fka,fkb->fab", moved, turned)
    # Lengths on the plate, not on the blank: a stretched sheet is bent less by as much.
    metric = np.einsum("fka,fka->fa", moved, moved).mean(axis=1)
    bend = 0.5 * (bend + bend.transpose(0, 2, 1)) / metric[:, None, None]
    pairs = np.sort(form.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    ends, count = np.unique(pairs, axis=0, return_counts=True)
    rim = np.zeros(len(form.vertices), dtype=bool)
    rim[ends[count == 1].ravel()] = True
    return bend, np.logical_not(rim[form.faces].any(axis=1))


def _evened(form: TriangleMesh, rough: Floats, inner: Bools, rounds: int) -> Floats:
    """Return the bends averaged to the vertices and back, so many times, from inner faces."""
    count, areas = len(form.vertices), form.face_areas_mm2()
    known = areas * (inner if inner.any() else np.ones(len(areas)))
    rows, columns = form.faces.ravel(), np.repeat(np.arange(len(form.faces)), 3)
    to_vertices = coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(count, len(areas)))
    to_vertices = to_vertices.tocsr()
    value = rough.reshape(-1, 4) * known[:, None]
    weight = known.astype(np.float64)
    for _ in range(rounds):
        at_value, at_weight = to_vertices @ value, to_vertices @ weight
        value, weight = to_vertices.T @ at_value / 3.0, to_vertices.T @ at_weight / 3.0
        scale = float(weight.max()) or 1.0
        value, weight = value / scale, weight / scale
    share = np.where(weight > 1e-12, weight, 1.0)
    even: Floats = (value / share[:, None]).reshape(-1, 2, 2)
    return even


def _quantile(values: Floats, weights: Floats, share: float) -> float:
    order = np.argsort(values, kind="stable")
    covered = np.cumsum(weights[order])
    place = int(np.searchsorted(covered, share * covered[-1]))
    return float(values[order[min(place, len(order) - 1)]])


def _radius_mm(curvature: float, reach_mm: float, straight_mm: float) -> float:
    """Return the radius, infinite where the plate rises by less than is felt over its reach."""
    rise = abs(curvature) * reach_mm**2 / 8.0
    return float("inf") if rise <= straight_mm else 1.0 / curvature


def _kind(across_mm: float, along_mm: float, has_axis: bool) -> PlateKind:
    if not np.isfinite(across_mm):
        return "flat"
    if not np.isfinite(along_mm):
        return "rolled"
    if not has_axis and abs(along_mm) > _EVENLY * abs(across_mm):
        return "uneven"
    return "bowl" if across_mm * along_mm > 0 else "saddle"
