"""A disk slit along straight lines of its flat map, with even triangles up to the slits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fitkit.flatten.remesh import place_on_faces
from fitkit.geometry.arrays import Floats, Ints, frozen_floats
from fitkit.geometry.conforming_triangles import conforming_triangles
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_cut import chain_keys, edge_keys, split_vertices

__all__ = ["FlatDisk", "SlitDisk", "StraightCut", "cuts_that_clash", "slit_disk"]

# Inner points nearer to a slit than this share of an edge would make slivers beside it.
_CLEAR_OF_SLIT = 0.6
# A foot this near to a border vertex (share of an edge) is that vertex.
_SAME_POINT = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class FlatDisk:
    """A surface that is a disk, and a flat map of it that nowhere lies over itself.

    Attributes
    ----------
    mesh
        The surface.
    flat_mm
        (V, 2) float mm, every face counter-clockwise.
    ring
        (B,) int: the border once round, the mesh on the left.
    """

    mesh: TriangleMesh
    flat_mm: Floats
    ring: Ints

    def edge_mm(self) -> float:
        """Return the length of the edges of its inside, about."""
        return float(np.sqrt(self.mesh.area_mm2() / len(self.mesh.faces) * 4.0 / np.sqrt(3.0)))

    def outline(self) -> shapely.Polygon:
        """Return the border on the flat map."""
        return shapely.Polygon(self.flat_mm[self.ring])


@dataclass(frozen=True, slots=True, eq=False)
class StraightCut:
    """A cut from the border to ``tip_mm``, straight on the flat map it was drawn on, (2,) mm each.

    A cut whose tip lies on the border too goes right through.
    """

    foot_mm: Floats
    tip_mm: Floats
    through: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "foot_mm", frozen_floats(self.foot_mm, (2,), "foot_mm"))
        object.__setattr__(self, "tip_mm", frozen_floats(self.tip_mm, (2,), "tip_mm"))

    def line(self) -> shapely.LineString:
        """Return it as a line of the plane."""
        return shapely.LineString([self.foot_mm, self.tip_mm])


@dataclass(frozen=True, slots=True, eq=False)
class SlitDisk:
    """A disk with slits.

    Attributes
    ----------
    mesh
        The surface; the two sides of a slit have vertices of their own, its tip one.
    start_mm
        (V, 2) float mm: the flat map carried over, slits still closed.
    before
        (V,) int: the vertex of the surface before it was slit.
    ring
        (R,) int: the border before it was slit, and ``place`` (R,) float: the position of each of
        its vertices on the ring of the disk it was made from (2.25 is a quarter from its third to
        its fourth vertex).
    chains
        Per cut (N,) int: its vertices before it was slit, foot first.
    """

    mesh: TriangleMesh
    start_mm: Floats
    before: Ints
    ring: Ints
    place: Floats
    chains: tuple[Ints, ...]


def cuts_that_clash(disk: FlatDisk, cuts: Sequence[StraightCut]) -> list[int]:
    """Return the numbers of cuts that leave the disk, or come too near another to be cut."""
    edge = disk.edge_mm()
    outline = disk.outline()
    lines = [cut.line() for cut in cuts]
    bad = set()
    for i, (cut, line) in enumerate(zip(cuts, lines, strict=True)):
        if line.length < 0.5 * edge:
            bad.add(i)
            continue
        # Clear of the border but for its ends: what is within half an edge of the foot is the foot.
        ends = [cut.foot_mm, cut.tip_mm] if cut.through else [cut.foot_mm]
        middle = line.difference(shapely.union_all(shapely.points(ends)).buffer(0.5 * edge))
        if not middle.is_empty and not outline.buffer(-0.2 * edge).contains(middle):
            bad.add(i)
        for j in range(i):
            if line.distance(lines[j]) < 0.75 * edge:
                bad.add(i)
    return sorted(bad)


def slit_disk(disk: FlatDisk, cuts: Sequence[StraightCut]) -> SlitDisk | None:
    """Return the disk slit along the cuts, or None where no good triangles could be found.

    The border keeps all its vertices; the feet of the cuts are added to it. Inner points near a
    slit make way for points on it.
    """
    edge = disk.edge_mm()
    rim = disk.flat_mm[disk.ring]
    points, place, feet = _with_feet(rim, cuts, edge)
    ring = np.arange(len(points))
    chains: list[Ints] = []
    parts = [points]
    count = len(points)
    for cut, (foot, tip) in zip(cuts, feet, strict=True):
        start, end = points[foot], points[tip] if cut.through else cut.tip_mm
        steps = max(2, round(float(np.linalg.norm(end - start)) / edge))
        share = np.linspace(0.0, 1.0, steps + 1)[1:, None]
        added = start + share * (end - start)
        last = []
        if cut.through:
            added, last = added[:-1], [tip]
        chains.append(np.array([foot, *range(count, count + len(added)), *last]))
        parts.append(added)
        count += len(added)
    parts.append(_clear_of(disk, cuts, edge))
    found = conforming_triangles(np.concatenate(parts), ring, chains)
    if found is None:
        return None
    old_faces, weights = place_on_faces(found.points_mm, disk.flat_mm, disk.mesh.faces)
    lifted = np.einsum("nk,nkd->nd", weights, disk.mesh.corners[old_faces])
    kept = np.flatnonzero((found.source >= 0) & (found.source < len(points)))
    whole = kept[place[found.source[kept]] % 1.0 == 0.0]
    lifted[whole] = disk.mesh.vertices[disk.ring[place[found.source[whole]].astype(np.int64)]]
    mesh = TriangleMesh(lifted, found.faces)
    if not (mesh.face_areas_mm2() > 1e-9 * edge**2).all():
        return None
    cut_edges = np.isin(
        edge_keys(mesh), np.concatenate([chain_keys(mesh, chain) for chain in found.chains])
    )
    slit, before = split_vertices(mesh, cut_edges)
    return SlitDisk(
        slit,
        found.points_mm[before],
        before,
        found.ring,
        _places(found.ring, found.source, place, found.points_mm, len(disk.ring)),
        found.chains,
    )


def _with_feet(
    rim: Floats, cuts: Sequence[StraightCut], edge: float
) -> tuple[Floats, Floats, list[tuple[int, int]]]:
    """Return the border with feet, each point's place on the old one, and each cut's ends.

    A cut that does not go through has -1 as its second end.
    """
    wanted: list[float] = []
    ends: list[list[int]] = []
    for cut in cuts:
        mine = []
        for point in [cut.foot_mm, cut.tip_mm] if cut.through else [cut.foot_mm]:
            place = _nearest_place(rim, point)
            length = float(
                np.linalg.norm(rim[(int(place) + 1) % len(rim)] - rim[int(place) % len(rim)])
            )
            share = place % 1.0
            if min(share, 1.0 - share) * length < _SAME_POINT * edge:
                place = float(round(place)) % len(rim)
            mine.append(len(wanted))
            wanted.append(place)
        ends.append(mine)
    places = np.unique(np.concatenate([np.arange(len(rim), dtype=np.float64), wanted]))
    low = places.astype(np.int64)
    beyond = (places - low)[:, None]
    points = rim[low] + beyond * (rim[(low + 1) % len(rim)] - rim[low])
    at = np.searchsorted(places, wanted)
    pairs = [(int(at[mine[0]]), int(at[mine[1]]) if len(mine) == 2 else -1) for mine in ends]
    return points, places, pairs


def _nearest_place(rim: Floats, point: Floats) -> float:
    step = np.roll(rim, -1, axis=0) - rim
    square = np.maximum(np.einsum("ni,ni->n", step, step), 1e-300)
    share = np.clip(np.einsum("ni,ni->n", point - rim, step) / square, 0.0, 1.0)
    gap = np.linalg.norm(rim + share[:, None] * step - point, axis=1)
    best = int(np.argmin(gap))
    return float((best + share[best]) % len(rim))


def _clear_of(disk: FlatDisk, cuts: Sequence[StraightCut], edge: float) -> Floats:
    inner = np.setdiff1d(np.arange(len(disk.flat_mm)), disk.ring)
    points = disk.flat_mm[inner]
    samples = np.concatenate(
        [
            cut.foot_mm
            + np.linspace(0.0, 1.0, 2 + int(4 * np.linalg.norm(cut.tip_mm - cut.foot_mm) / edge))[
                :, None
            ]
            * (cut.tip_mm - cut.foot_mm)
            for cut in cuts
        ]
    )
    away, _ = cKDTree(samples).query(points)
    kept: Floats = points[away > _CLEAR_OF_SLIT * edge]
    return kept


def _places(ring: Ints, source: Ints, place: Floats, points: Floats, count: int) -> Floats:
    """Return the place of every point of the new ring; those put on edges lie between."""
    result = np.where(source[ring] >= 0, place[np.clip(source[ring], 0, len(place) - 1)], np.nan)
    known = np.flatnonzero(np.isfinite(result))
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points[ring], axis=0), axis=1))])
    for begin, end in zip(known, [*known[1:], len(ring)], strict=True):
        if end - begin < 2:
            continue
        closing = points[ring[end % len(ring)]]
        whole = arc[end - 1] - arc[begin] + np.linalg.norm(closing - points[ring[end - 1]])
        low = result[begin]
        high = np.floor(low) + 1.0 if end == len(ring) else result[end]
        between = slice(begin + 1, end)
        result[between] = low + (high - low) * (arc[between] - arc[begin]) / whole
    return result % count
