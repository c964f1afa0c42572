"""Families of relief cuts worth trying on a patch, ranked by the bulge that they leave."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fitkit.flatten.bulge import Bulge
from fitkit.flatten.mirror_axis import MirrorAxis
from fitkit.flatten.remesh import place_on_faces
from fitkit.flatten.slit_disk import FlatDisk, StraightCut, cuts_that_clash
from fitkit.geometry.arrays import Bools, Floats

__all__ = ["CutFamilies"]

# Starts tried round the edge, and directions tried for a cut through or for one more cut.
_PHASES = 6
_DIRECTIONS = 24
# What is barred counts as alike on both sides of an axis when less than this share of it is not.
_UNLIKE = 0.05
# A cut through is nearly as good as another when it leaves this much of it.
_NEARLY = 1.1


class CutFamilies:
    """The cuts that may be tried on one disk.

    Parameters
    ----------
    disk
        The patch, uncut; 2000 triangles are plenty.
    barred_edge
        (B,) bool: edges of the border, from each ring vertex to the next, that no cut may start
        from; None bars none.
    barred
        Area of the flat map that no cut may enter, if any.
    axis
        For a plate that is to look alike left and right: every family then is its own mirror image,
        unless what is barred is not.

    Attributes
    ----------
    u
        (V,) float: log scale of the uncut disk, see :class:`fitkit.flatten.bulge.Bulge`.
    hollow
        Whether it curves more like a saddle than like a dome.
    """

    def __init__(
        self,
        disk: FlatDisk,
        *,
        barred_edge: Bools | None = None,
        barred: shapely.Geometry | None = None,
        axis: MirrorAxis | None = None,
    ) -> None:
        self.disk = disk
        self.bulge = Bulge(disk.mesh, disk.ring)
        self.u = self.bulge.log_scale()
        self.hollow = bool(-self.u.min() > self.u.max())
        self._edge = disk.edge_mm()
        self._barred_edge = barred_edge
        self._barred = barred
        self._rim = disk.flat_mm[disk.ring]
        step = np.linalg.norm(np.roll(self._rim, -1, axis=0) - self._rim, axis=1)
        self._arc = np.concatenate([[0.0], np.cumsum(step)])
        open_ = np.ones(len(step), dtype=bool) if barred_edge is None else ~barred_edge
        self._open_arc = np.concatenate([[0.0], np.cumsum(np.where(open_, step, 0.0))])
        self.axis = axis if axis is not None and self._barred_alike(axis) else None
        self._start = 0.0
        if self.axis is not None:
            on_axis = np.abs(self.axis.aside_mm(self._rim))
            self._start = float(self._open_arc[int(np.argmin(on_axis))])

    def _barred_alike(self, axis: MirrorAxis) -> bool:
        """Whether what is barred on one side of an axis is barred on the other too."""
        if self._barred is not None:
            corners = shapely.transform(self._barred, axis.mirrored)
            if shapely.area(shapely.symmetric_difference(corners, self._barred)) > (
                _UNLIKE * shapely.area(self._barred)
            ):
                return False
        if self._barred_edge is None:
            return True
        middles = 0.5 * (self._rim + np.roll(self._rim, -1, axis=0))
        _, image = cKDTree(middles).query(axis.mirrored(middles))
        return bool(np.mean(self._barred_edge != self._barred_edge[image]) < _UNLIKE)

    def left(self, cuts: Sequence[StraightCut]) -> tuple[float, Floats]:
        """Return the range of u that cuts leave, and u (V,)."""
        points = self.disk.flat_mm
        held = np.zeros(len(points), dtype=bool)
        for cut in cuts:
            way = cut.tip_mm - cut.foot_mm
            share = np.clip((points - cut.foot_mm) @ way / max(float(way @ way), 1e-300), 0.0, 1.0)
            off = points - cut.foot_mm - share[:, None] * way
            held |= np.einsum("ni,ni->n", off, off) < (0.5 * self._edge) ** 2
        u = self.bulge.log_scale(held)
        return float(u.max() - u.min()), u

    def allowed(self, cuts: Sequence[StraightCut]) -> bool:
        """Whether the cuts keep clear of each other, the border and what is barred."""
        if cuts_that_clash(self.disk, cuts):
            return False
        return self._barred is None or not any(self._barred.intersects(cut.line()) for cut in cuts)

    def feet(self, count: int, phase: float, centre: Floats | None) -> Floats:
        """(count, 2) mm: places on the border, evenly along it, or evenly round a centre.

        They are counted from the axis, where there is one.
        """
        share = (np.arange(count) + phase) / count
        if centre is None or self._barred_edge is not None:
            return self._on_border((share * self._open_arc[-1] + self._start) % self._open_arc[-1])
        angle = 2.0 * np.pi * share
        if self.axis is not None:
            angle += np.arctan2(self.axis.direction[1], self.axis.direction[0])
        far = 4.0 * float(np.ptp(self._rim, axis=0).max())
        outline = self.disk.outline()
        feet = []
        for a in angle:
            ray = shapely.LineString([centre, centre + far * np.array([np.cos(a), np.sin(a)])])
            hits = shapely.get_coordinates(ray.intersection(outline.exterior))
            if len(hits) == 0:
                return np.zeros((0, 2))
            feet.append(hits[int(np.argmin(np.linalg.norm(hits - centre, axis=1)))])
        return np.array(feet)

    def _on_border(self, open_arc: Floats) -> Floats:
        # Barred edges add nothing to the open arc length, so nothing lands on them.
        at = np.clip(
            np.searchsorted(self._open_arc, open_arc, side="right") - 1, 0, len(self._rim) - 1
        )
        span = self._open_arc[at + 1] - self._open_arc[at]
        share = np.where(span > 0, (open_arc - self._open_arc[at]) / np.maximum(span, 1e-300), 0.0)
        found: Floats = self._rim[at] + share[:, None] * (
            self._rim[(at + 1) % len(self._rim)] - self._rim[at]
        )
        return found

    def star(self, count: int, drop: float) -> list[tuple[StraightCut, ...]]:
        """Return families of cuts towards the middle of the bulge that stop at the core.

        ``drop`` is how far u falls from the middle to the tips.
        """
        if self.hollow:
            return []
        top = int(np.argmax(self.u))
        centre = self.disk.flat_mm[top]
        level = float(self.u[top]) - drop
        families = []
        phases = np.arange(_PHASES) / _PHASES
        if self.axis is not None:
            # A foot on the axis or two astride of it: no other even star is its own image.
            centre, phases = self.axis.onto(centre), np.array([0.0, 0.5])
        for centre_or_not in (centre, None):
            for phase in phases:
                feet = self.feet(count, phase, centre_or_not)
                cuts = tuple(
                    StraightCut(foot, tip)
                    for foot in feet
                    if (tip := self._tip(foot, centre, level)) is not None
                )
                cuts = self._alike(cuts)
                if len(cuts) == count and self.allowed(cuts):
                    families.append(cuts)
        return families

    def _alike(self, cuts: Sequence[StraightCut]) -> tuple[StraightCut, ...]:
        """Return cuts with those left of the axis drawn again on its right, where there is one."""
        if self.axis is None:
            return tuple(cuts)
        made: list[StraightCut] = []
        for cut in cuts:
            aside = float(self.axis.aside_mm(cut.foot_mm))
            if abs(aside) < self._edge:
                made.append(StraightCut(self.axis.onto(cut.foot_mm), self.axis.onto(cut.tip_mm)))
            elif aside > 0.0:
                made += [cut, self.axis.mirrored_cut(cut)]
        return tuple(made)

    def twins(self, cuts: Sequence[StraightCut]) -> list[int]:
        """Return for each cut the number of its mirror image: itself without an axis."""
        if self.axis is None:
            return list(range(len(cuts)))
        feet = np.stack([cut.foot_mm for cut in cuts])
        images = self.axis.mirrored(feet)
        apart = np.linalg.norm(images[:, None] - feet[None], axis=2)
        return [int(k) for k in np.argmin(apart, axis=1)]

    def _tip(self, foot: Floats, centre: Floats, level: float) -> Floats | None:
        """Return the first place from the foot to the centre where u reaches a level."""
        share = np.linspace(0.0, 1.0, 65)
        points = foot + share[:, None] * (centre - foot)
        u = self._at(self.u, points)
        hit = int(np.argmax(u >= level)) if (u >= level).any() else len(u) - 1
        tip: Floats = points[hit]
        return tip if np.linalg.norm(tip - foot) > 1.5 * self._edge else None

    def _at(self, values: Floats, points: Floats) -> Floats:
        faces, weights = place_on_faces(points, self.disk.flat_mm, self.disk.mesh.faces)
        found: Floats = np.einsum("nk,nk->n", weights, values[self.disk.mesh.faces[faces]])
        return found

    def before(self, count: int) -> tuple[int, ...]:
        """Return from how many cuts one more step leads to so many."""
        return (count - 1,) if self.axis is None else (count - 1, count - 2)

    def one_more(self, cuts: Sequence[StraightCut], count: int) -> list[tuple[StraightCut, ...]]:
        """Return the cuts with more to where they leave most, from places round the edge.

        Only families of ``count`` cuts: one more, or a pair more where there is an axis.
        """
        _, u = self.left(cuts)
        tip = self.disk.flat_mm[int(np.argmax(np.abs(u)))]
        near = self._on_border(
            (np.arange(2 * _DIRECTIONS) + 0.5) / (2 * _DIRECTIONS) * self._open_arc[-1]
        )
        if self.axis is not None:
            ends = self._rim[np.abs(self.axis.aside_mm(self._rim)) < self._edge]
            near = np.concatenate([near, ends])
            # Two that would meet on the axis stop short of it.
            clear = np.sign(self.axis.aside_mm(near)) * max(
                abs(float(self.axis.aside_mm(tip))), self._edge
            )
            square = np.array([-self.axis.direction[1], self.axis.direction[0]])
            tips = self.axis.onto(tip) + clear[:, None] * square
        else:
            tips = np.tile(tip, (len(near), 1))
        grown = [
            (*cuts, *self._alike([StraightCut(foot, end)]))
            for foot, end in zip(near, tips, strict=True)
        ]
        return [each for each in grown if len(each) == count and self.allowed(each)]

    def through(self) -> list[tuple[StraightCut, ...]]:
        """Return cuts right through the place that bulges or hollows most."""
        middle = self.disk.flat_mm[int(np.argmax(np.abs(self.u)))]
        far = 4.0 * float(np.ptp(self._rim, axis=0).max())
        outline = self.disk.outline()
        found: list[tuple[StraightCut, ...]] = []
        angles = np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
        if self.axis is not None:
            along = np.arctan2(self.axis.direction[1], self.axis.direction[0])
            middle, angles = self.axis.onto(middle), along + np.array([0.0, 0.5 * np.pi])
        for angle in angles:
            way = far * np.array([np.cos(angle), np.sin(angle)])
            line = shapely.LineString([middle - way, middle + way]).intersection(outline)
            part = min(shapely.get_parts(line), key=lambda p: p.distance(shapely.Point(middle)))
            ends = shapely.get_coordinates(part)
            if len(ends) < 2:
                continue
            cut = StraightCut(ends[0], ends[-1], through=True)
            if self.allowed([cut]) and not self._ends_on_barred(cut):
                found.append((cut,))
        return found

    def best_through(self) -> list[tuple[StraightCut, ...]]:
        """Return the cut right through that leaves least, and the shortest nearly as good."""
        ranked = self.ranked(self.through())
        if not ranked:
            return []
        good = [cuts for left, cuts in ranked if left < _NEARLY * ranked[0][0]]
        shortest = min(good, key=lambda cuts: float(cuts[0].line().length))
        return [shortest] if shortest is good[0] else [shortest, good[0]]

    def _ends_on_barred(self, cut: StraightCut) -> bool:
        if self._barred_edge is None:
            return False
        lines = shapely.linestrings(
            np.stack([self._rim, np.roll(self._rim, -1, axis=0)], axis=1)[self._barred_edge]
        )
        ends = shapely.points(np.stack([cut.foot_mm, cut.tip_mm]))
        return bool((shapely.distance(lines[:, None], ends[None]) < 0.25 * self._edge).any())

    def ranked(
        self, families: Sequence[tuple[StraightCut, ...]]
    ) -> list[tuple[float, tuple[StraightCut, ...]]]:
        """Return the families with the range of u that each leaves, the least first."""
        rated = [(self.left(cuts)[0], cuts) for cuts in families]
        return sorted(rated, key=lambda one: one[0])
