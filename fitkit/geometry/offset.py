"""The surface at a set distance from a mesh, its hollows bridged where that is wanted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from skimage.measure import marching_cubes

from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.at_distance import at_distance
from fitkit.geometry.distance_field import DistanceField, LevelGrid, level_grid
from fitkit.geometry.even_surface import even_surface
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.rolling_ball import BallCentres
from fitkit.geometry.topology import components

__all__ = ["OffsetField", "offset_mesh"]


class OffsetField:
    """The distance from a mesh, from which surfaces at several distances are taken.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    cell_mm
        Grid spacing, about the edge length of the results.
    reach_mm
        The largest distance that will be asked for.

    Raises
    ------
    InputError
        When the cell is not positive or so small that the grid would not fit in memory.
    MeshError
        When the mesh is not closed.
    """

    def __init__(self, mesh: TriangleMesh, *, cell_mm: float, reach_mm: float) -> None:
        self._field = DistanceField(mesh, cell_mm=cell_mm, reach_mm=reach_mm)

    def surface(
        self,
        distance_mm: float,
        *,
        bridge_mm: float = 0.0,
        parts: Sequence[TriangleMesh] = (),
        progress: Callable[[float, str], None] | None = None,
    ) -> TriangleMesh:
        """Return the closed surface at a distance outside the mesh; see :func:`offset_mesh`.

        It does not depend on what else was asked of the field. ``parts``, closed meshes that
        make up the mesh, are bridged each by itself: no ball then hangs between an arm and the
        trunk.

        Raises
        ------
        InputError
            When the field does not reach so far.
        MeshError
            When nothing is left of the mesh at that distance.
        """
        if not (bridge_mm >= 0 and distance_mm <= self._field.reach_mm):
            raise InputError(
                f"The field reaches {self._field.reach_mm:g} mm, not {distance_mm:g} mm bridged by "
                f"a ball of {bridge_mm:g} mm.",
                "Make the field with a larger reach; a bridging radius is not negative.",
            )
        tell = progress or (lambda _fraction, _words: None)
        mesh, cell = self._field.mesh, self._field.cell_mm
        balls: list[BallCentres] = []
        if bridge_mm > 0:
            tell(0.0, "bridging hollows")
            centre_mm = distance_mm + bridge_mm
            each = [BallCentres(part, centre_mm, cell_mm=cell) for part in parts or (mesh,)]
            balls = [one for one in each if one.has_valleys()]
        tell(0.3, "searching the surface")
        grid = level_grid(self._field, lambda nodes: self._value_at(nodes, distance_mm, balls))
        tell(0.6, "evening out")
        settle = _Settled(mesh, distance_mm, balls)
        even = even_surface(_shell(grid, cell), settle)
        tell(1.0, "done")
        return even

    def _value_at(self, nodes: Ints, distance_mm: float, balls: list[BallCentres]) -> Floats:
        """Signed distance from the offset, bridged by the balls, at nodes."""
        values = self._field.at_nodes(nodes) - distance_mm
        # Inside the plain offset all is inside; above it, what no ball reaches is bridged.
        for ball in balls:
            points = self._field.places_mm(nodes)
            above = np.flatnonzero((values > 0) & ball.is_near(points, distance_mm))
            points = points[above]
            shut, depth = ball.spanned(points, ball.centre_above(points), distance_mm)
            values[above[shut]] = np.minimum(values[above[shut]], -depth)
        return values


def offset_mesh(
    mesh: TriangleMesh,
    distance_mm: float,
    *,
    cell_mm: float,
    bridge_mm: float = 0.0,
    progress: Callable[[float, str], None] | None = None,
) -> TriangleMesh:
    """Return the closed surface of all points at a distance outside a closed mesh.

    It never crosses itself: a groove narrower than twice the distance closes, an edge
    becomes a fillet. The surface is found on a grid of its signed distance (marching
    cubes), its vertices are evened out along the surface and then put at the exact distance.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    distance_mm
        Positive outward, negative inward; 0 covers the same surface with new triangles.
    cell_mm
        Grid spacing, about the edge length of the result.
    bridge_mm
        Radius of a ball that rolls over the surface; hollows that it cannot touch are bridged
        as it bridges them. A rigid plate that is bent no tighter inward than this lies so.

    Raises
    ------
    InputError
        When the cell is not positive or so small that the grid would not fit in memory.
    MeshError
        When the mesh is not closed, or nothing is left of it.

    References
    ----------
    T. Lewiner et al., "Efficient implementation of marching cubes' cases with topological
    guarantees", Journal of Graphics Tools 8 (2003), as built into scikit-image.
    """
    field = OffsetField(mesh, cell_mm=cell_mm, reach_mm=distance_mm)
    return field.surface(distance_mm, bridge_mm=bridge_mm, progress=progress)


def _shell(grid: LevelGrid, cell_mm: float) -> TriangleMesh:
    """Return the zero of a grid as a rough closed surface, wound outward."""
    values, origin = grid
    extract: Any = marching_cubes  # has no annotations
    points, faces, _, _ = extract(values, 0.0, spacing=(cell_mm,) * 3)
    rough = TriangleMesh(points.astype(np.float64) + origin, faces.astype(np.int64))
    if rough.volume_mm3() < 0:
        rough = TriangleMesh(rough.vertices, rough.faces[:, ::-1])
    return _outer_shells(rough)


def _outer_shells(mesh: TriangleMesh) -> TriangleMesh:
    """Drop enclosed hollows, which are wound inward, and crumbs."""
    labels = components(mesh)
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    volume = np.bincount(labels, weights=np.einsum("fi,fi->f", a, np.cross(b, c)) / 6.0)
    return mesh.faces_only(np.isin(labels, np.flatnonzero(volume > 1e-3 * volume.max())))[0]


class _Settled:
    """Puts points on an offset surface, bridged where no ball can touch it."""

    def __init__(self, mesh: TriangleMesh, distance_mm: float, balls: Sequence[BallCentres]):
        self._mesh = mesh
        self._distance = distance_mm
        self._balls = balls

    def __call__(self, points: Floats, exactly: bool) -> tuple[Floats, Floats]:
        plain, outward = at_distance(points, self._mesh, self._distance)
        height = np.einsum("vi,vi->v", points - plain, outward)
        for ball in self._balls:
            near = np.flatnonzero(ball.is_near(points, self._distance))
            own = at_distance(points[near], ball.mesh, ball.centre_mm)[0]
            shut, depth = ball.spanned(points[near], own, self._distance, exactly=exactly)
            at = near[shut]
            deeper = -depth < height[at]
            at, centre = at[deeper], ball.nearest_valley_mm(points[at[deeper]])
            way = centre - points[at]
            way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
            bridged = centre - (ball.centre_mm - self._distance) * way
            # The flat triangles of a valley hang a hair below it: never below the plain offset.
            above = nearest_on_mesh(self._mesh, bridged)[2] >= self._distance
            at = at[above]
            plain[at], outward[at] = bridged[above], way[above]
            height[at] = -depth[deeper][above]
        return plain, outward
