"""Standing a mesh up: floor below, z up, the front towards -y."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, cKDTree

from fitkit.body.symmetry_plane import surface_samples
from fitkit.body.taut_round import taut_rounds
from fitkit.errors import InputError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform

__all__ = ["Standing", "find_standing", "stand_up", "standing_through_points"]

_FLOOR_TILT_RAD = np.radians(25.0)
_SAME_FACET_RAD = np.radians(2.0)
_SOLE_AREA_MM2 = 1500.0
_TOES_MM = 8.0
_HOLLOW_MM = 8.0
_TRUNK_LEVELS = np.linspace(0.08, 0.8, 19)
_ROUNDS = 15


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Which way is up and which is the front, in the mesh's own frame.

    Attributes
    ----------
    up, front
        (3,) float, any length; the front need not be square to up.
    findings
        How they were found, and how sure that is.
    """

    up: Floats
    front: Floats
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "up", frozen_floats(self.up, (3,), "up"))
        object.__setattr__(self, "front", frozen_floats(self.front, (3,), "front"))

    def world_from_mesh(self) -> RigidTransform:
        """Return the turn that brings up to z and the front to -y, shifting nothing.

        Raises
        ------
        InputError
            When one of the two has no length, or both point the same way.
        """
        length = float(np.linalg.norm(self.up))
        up = self.up / length if length > 0 else self.up
        front = self.front - (self.front @ up) * up
        reach = float(np.linalg.norm(front))
        if not (length > 0 and reach > 1e-6 * max(float(np.linalg.norm(self.front)), 1e-300)):
            raise InputError(
                "Up and front of the mesh point the same way.",
                "Give two directions square to each other, for example up z and front -y.",
            )
        back = -front / reach
        return RigidTransform(np.stack([np.cross(back, up), back, up]), np.zeros(3))


def stand_up(mesh: TriangleMesh, standing: Standing) -> TriangleMesh:
    """Return the mesh turned upright, on the floor, its middle over the origin."""
    turned = standing.world_from_mesh().apply(mesh.vertices)
    low, high = turned.min(axis=0), turned.max(axis=0)
    middle = 0.5 * (low + high)
    return mesh.with_vertices(turned - np.array([middle[0], middle[1], low[2]]))


def standing_through_points(low: Floats, high: Floats, front: Floats) -> Standing:
    """Return the standing of three points: one low, one straight above it, one in front."""
    low, high, front = (np.asarray(point, dtype=np.float64) for point in (low, high, front))
    return Standing(high - low, front - low)


def find_standing(mesh: TriangleMesh) -> Standing:
    """Find up and front of a whole or half body that lies in any way, by its shape alone.

    The plane that best mirrors the surface onto itself gives left and right; across it the
    body is longest upwards; what it rests on, feet or a flat cut end, is the floor. Legs
    are below; without legs the narrower end is above. The toes tell the front; without feet the
    hollow of the back and the lean of the neck do, and a warning says where that is a guess.

    Parameters
    ----------
    mesh
        Closed, millimetres.
    """
    points, _ = surface_samples(mesh)
    across = _mirror_normal(points)
    middle = points.mean(axis=0)
    flat = (points - middle) - np.outer((points - middle) @ across, across)
    up: Floats = np.linalg.svd(flat, full_matrices=False)[2][0]
    legs_below, legs_above = _on_legs(mesh, across, up), _on_legs(mesh, across, -up)
    if (legs_above and not legs_below) or (
        legs_above == legs_below and _end_area_mm2(mesh, up) > _end_area_mm2(mesh, -up)
    ):
        up = -up
    on_floor = _floor_up(mesh, across, up)
    up = up if on_floor is None else on_floor
    ahead = np.cross(up, across)
    height = points @ up
    height = (height - height.min()) / max(float(np.ptp(height)), 1e-9)
    reach = (points - middle) @ ahead
    legs = legs_below or legs_above
    toes = 0.0
    if legs:
        toes = float(
            _middle(reach[height < 0.03]) - reach[(height > 0.06) & (height < 0.14)].mean()
        )
    if abs(toes) > _TOES_MM:
        front, how, sure = np.sign(toes) * ahead, "the toes", True
    else:
        front, how, sure = _front_of_trunk(height, reach, ahead)
    rests = "what it rests on" if on_floor is not None else "its longest direction"
    finding = Finding(
        "body-stood-up",
        Severity.NOTE if sure else Severity.WARNING,
        "body",
        f"Stood up by its own shape: up by {rests}, left and right by its mirror image, the "
        f"front by {how}.",
        ""
        if sure
        else "Look at the body's picture; if front and back are exchanged, give the front with "
        "--front.",
    )
    return Standing(up, front, (finding,))


def _front_of_trunk(height: Floats, reach: Floats, ahead: Floats) -> tuple[Floats, str, bool]:
    """Return the front of a body without feet, what told it, and whether that is plain.

    The small of the back is hollow between seat and shoulder blades, the belly is less so; and
    a neck leans forward.
    """
    deep = {}
    for sign in (1.0, -1.0):
        outline = []
        for level in _TRUNK_LEVELS.tolist():
            near = np.abs(height - level) < 0.02
            if near.sum() > 5:
                outline.append((level, float(np.percentile(sign * reach[near], 97))))
        deep[sign] = _deepest_hollow(np.array(outline).reshape(-1, 2))
    hollow = deep[-1.0] - deep[1.0]
    # Going up, a neck leans forward.
    top = (height > 0.9) & (height < 0.97)
    lean = float(np.polyfit(height[top], reach[top], 1)[0]) if top.sum() > 20 else 0.0
    if abs(hollow) > _HOLLOW_MM:
        plain = np.sign(hollow) == np.sign(lean) or abs(hollow) > 2 * _HOLLOW_MM
        return np.sign(hollow) * ahead, "the hollow of the back", bool(plain)
    return (1.0 if lean >= 0 else -1.0) * ahead, "the lean of the neck", False


def _deepest_hollow(outline: Floats) -> float:
    """How far an outline of (level, reach) rows lies inside the taut line over it, at most."""
    taut = [0]
    for k in range(1, len(outline)):
        while len(taut) > 1:
            (x, y), (u, v) = outline[taut[-2]], outline[taut[-1]]
            if (u - x) * (outline[k, 1] - y) < (v - y) * (outline[k, 0] - x):
                break
            taut.pop()
        taut.append(k)
    if len(outline) < 3:
        return 0.0
    over = np.interp(outline[:, 0], outline[taut, 0], outline[taut, 1])
    return float((over - outline[:, 1]).max())


def _middle(reach: Floats) -> float:
    return 0.5 * float(reach.min() + reach.max())


def _mirror_normal(points: Floats) -> Floats:
    """(3,) unit: normal of the plane about which the points are most nearly symmetric.

    A mirror plane's normal is a principal axis of the mass it mirrors, so three tries are enough
    to begin with; the fit of the mirror image onto the points then settles it.
    """
    tree = cKDTree(points)
    middle = points.mean(axis=0)
    best = (np.inf, np.zeros(3))
    for start in np.linalg.svd(points - middle, full_matrices=False)[2]:
        normal, offset = start, float(middle @ start)
        for _ in range(_ROUNDS):
            image = points - 2.0 * np.outer(points @ normal - offset, normal)
            gap, partner = tree.query(image)
            kept = gap <= np.percentile(gap, 80)
            one, other = points[kept], points[partner[kept]]
            mixed = (one - one.mean(axis=0)).T @ (other - other.mean(axis=0))
            found = np.linalg.eigh(mixed + mixed.T)[1][:, 0]
            normal = found if found @ normal > 0 else -found
            offset = float(0.5 * (one.mean(axis=0) + other.mean(axis=0)) @ normal)
        image = points - 2.0 * np.outer(points @ normal - offset, normal)
        misfit = float(np.minimum(tree.query(image)[0], 60.0).mean())
        if misfit < best[0]:
            best = (misfit, normal)
    return best[1]


def _on_legs(mesh: TriangleMesh, across: Floats, up: Floats) -> bool:
    """Tell whether a quarter of the way up there is one round on each side and none between."""
    along = mesh.vertices @ up
    height = along.min() + 0.2 * np.ptp(along)
    middle = float(np.median(mesh.vertices @ across))
    point = mesh.vertices.mean(axis=0)
    rounds = taut_rounds(mesh, point + (height - point @ up) * up, up)
    sides = []
    for one in rounds:
        reach = one.tape_mm @ across - middle
        if reach.min() < 0 < reach.max():
            return False
        sides.append(reach.min() > 0)
    return True in sides and False in sides


def _end_area_mm2(mesh: TriangleMesh, up: Floats) -> float:
    """Mean area of the sections in the outer part of the upper end."""
    along = mesh.vertices @ up
    high, size = float(along.max()), float(np.ptp(along))
    point = mesh.vertices.mean(axis=0)
    areas = [
        sum(one.area_mm2 for one in taut_rounds(mesh, point + (level - point @ up) * up, up))
        for level in high - size * np.array([0.04, 0.08, 0.12])
    ]
    return float(np.mean(areas))


def _floor_up(mesh: TriangleMesh, across: Floats, up: Floats) -> Floats | None:
    """Return up as the floor says on which the body rests; None where it rests on nothing flat."""
    hull = ConvexHull(mesh.vertices)
    corners = mesh.vertices[hull.simplices]
    areas = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    normals = hull.equations[:, :3]
    below = np.flatnonzero(-normals @ up > np.cos(_FLOOR_TILT_RAD))
    if len(below) == 0:
        return None
    alike = normals[below] @ normals[below].T > np.cos(_SAME_FACET_RAD)
    together = alike @ areas[below]
    best = int(np.argmax(together))
    if together[best] < _SOLE_AREA_MM2:
        return None
    normal = (areas[below][alike[best], np.newaxis] * normals[below][alike[best]]).sum(axis=0)
    floor_up: Floats = -normal + (normal @ across) * across
    unit: Floats = floor_up / np.linalg.norm(floor_up)
    return unit
