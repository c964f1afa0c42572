"""Looking for the fewest and shortest relief cuts that let a patch lie flat within a strain.

Places are ranked by the bulge that they leave (:mod:`fitkit.flatten.bulge`), a few milliseconds
each; only the best few are laid flat. Fewest cuts first, then each cut is drawn back towards the
edge as far as the limit allows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import brentq

from fitkit.flatten.bulge import Bulge
from fitkit.flatten.overlap import overlap_area_mm2
from fitkit.flatten.remesh import place_on_faces
from fitkit.flatten.slit_disk import FlatDisk, StraightCut, cuts_that_clash, slit_disk
from fitkit.flatten.stretch import stretch_field
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import boundary_loops, components

__all__ = ["CutPlan", "CutSearch", "Solve", "core_drop", "lay_flat"]

Solve = Callable[[TriangleMesh, Floats], Floats]
"""From a disk and a start without flips, (V, 2) mm, to its flat map of least distortion."""

# Starts tried round the edge, and directions tried for a cut through or for one more cut.
_PHASES = 6
_DIRECTIONS = 24
# How near to the middle of the bulge the deepest cuts go: a share of the drop of the core.
_DEEPEST = 0.3
# A flat map's log distortion over the range of u: 0.5 to 0.67 on caps and strips (closed forms:
# t^2/6 over t^2/4 on a small cap). Below the first there is no hope, so nothing is laid flat.
_LEAST_RATIO = 0.42
_ROUNDS_OF_SHORTENING = 4
_A_LITTLE_BACK = 0.975
# One cut more is worth telling when all together come out this much shorter.
_SHORTER = 0.95
# A cut through is nearly as good as another when it leaves this much of it.
_NEARLY = 1.1


@dataclass(frozen=True, slots=True, eq=False)
class CutPlan:
    """A set of cuts and what it buys.

    Attributes
    ----------
    cuts
        Straight on the flat map of the disk that was searched.
    strain
        Largest strain either way when growing and shrinking are balanced.
    overlap_mm2
        Area on which a piece lies over itself once flat.
    length_mm
        Of all cuts, on the form.
    pieces
        How many the patch falls into.
    laid
        Per piece its outline on the flat, (N, 2) mm each.
    """

    cuts: tuple[StraightCut, ...]
    strain: float
    overlap_mm2: float
    length_mm: float
    pieces: int
    laid: tuple[Floats, ...] = ()

    def meets(self, limit: float) -> bool:
        """Whether it lies flat within a strain and can be cut from one sheet."""
        return self.strain <= limit and self.overlap_mm2 <= 0.0


def core_drop(limit: float) -> float:
    """Return by how much u may drop from the middle of an uncut round core to its edge.

    A spherical cap of angular radius t needs at least the log distortion log(t / sin t) (J. Milnor,
    *A problem in cartography*, American Mathematical Monthly 76, 1969), and its u drops by
    -2 log cos(t / 2).
    """
    allowed = 2.0 * np.log1p(limit)
    t = brentq(lambda a: np.log(a / np.sin(a)) - allowed, 1e-4, 3.1)
    return float(-2.0 * np.log(np.cos(0.5 * t)))


def lay_flat(disk: FlatDisk, cuts: Sequence[StraightCut], solve: Solve) -> CutPlan | None:
    """Return what the cuts buy, or None where they cannot be cut."""
    if not cuts:
        mesh, start, length = disk.mesh, disk.flat_mm, 0.0
    else:
        slit = slit_disk(disk, cuts)
        if slit is None:
            return None
        mesh, start = slit.mesh, slit.start_mm
        first = np.full(int(slit.before.max()) + 1, -1)
        first[slit.before[::-1]] = np.arange(len(slit.before))[::-1]
        length = sum(
            float(np.linalg.norm(np.diff(mesh.vertices[first[chain]], axis=0), axis=1).sum())
            for chain in slit.chains
        )
    label = components(mesh)
    strain = overlap = 0.0
    laid = []
    for piece in range(int(label.max()) + 1):
        part, used = mesh.faces_only(label == piece)
        flat = solve(part, start[used])
        rings = boundary_loops(part)
        if len(rings) != 1:
            return None
        outline = flat[rings[0]]
        stretch, _ = stretch_field(part, flat)
        strain = max(strain, float(np.sqrt(stretch.max() / stretch.min()) - 1.0))
        overlap += overlap_area_mm2(flat, part.faces, outline)
        laid.append(outline)
    return CutPlan(tuple(cuts), strain, overlap, length, len(laid), tuple(laid))


def _drawn(cuts: Sequence[StraightCut], shares: Floats) -> tuple[StraightCut, ...]:
    """Return cuts that go only a share of their way."""
    return tuple(
        StraightCut(cut.foot_mm, cut.foot_mm + share * (cut.tip_mm - cut.foot_mm))
        for cut, share in zip(cuts, shares, strict=True)
    )


class CutSearch:
    """The search on one disk.

    Parameters
    ----------
    disk
        The patch, uncut; 2000 triangles are plenty.
    solve
        How pieces are laid flat.
    barred_edge
        (B,) bool: edges of the border, from each ring vertex to the next, that no cut may start
        from; None bars none.
    barred
        Area of the flat map that no cut may enter, if any.
    """

    def __init__(
        self,
        disk: FlatDisk,
        solve: Solve,
        *,
        barred_edge: Bools | None = None,
        barred: shapely.Geometry | None = None,
    ) -> None:
        self.disk = disk
        self.solve = solve
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

    # ------------------------------------------------------------------ what a set of cuts leaves

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

    # ------------------------------------------------------------------ families of cuts

    def feet(self, count: int, phase: float, centre: Floats | None) -> Floats:
        """(count, 2) mm: places on the border, evenly along it, or evenly round a centre."""
        share = (np.arange(count) + phase) / count
        if centre is None or self._barred_edge is not None:
            return self._on_border(share * self._open_arc[-1])
        angle = 2.0 * np.pi * share
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
        for centre_or_not in (centre, None):
            for phase in np.arange(_PHASES) / _PHASES:
                feet = self.feet(count, phase, centre_or_not)
                cuts = tuple(
                    StraightCut(foot, tip)
                    for foot in feet
                    if (tip := self._tip(foot, centre, level)) is not None
                )
                if len(cuts) == count and self.allowed(cuts):
                    families.append(cuts)
        return families

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

    def one_more(self, cuts: Sequence[StraightCut]) -> list[tuple[StraightCut, ...]]:
        """Return the cuts with one more to where they leave most, from places round the edge."""
        _, u = self.left(cuts)
        tip = self.disk.flat_mm[int(np.argmax(np.abs(u)))]
        near = self._on_border(
            (np.arange(2 * _DIRECTIONS) + 0.5) / (2 * _DIRECTIONS) * self._open_arc[-1]
        )
        grown = [(*cuts, StraightCut(foot, tip)) for foot in near]
        return [each for each in grown if self.allowed(each)]

    def through(self) -> list[tuple[StraightCut, ...]]:
        """Return cuts right through the place that bulges or hollows most."""
        middle = self.disk.flat_mm[int(np.argmax(np.abs(self.u)))]
        far = 4.0 * float(np.ptp(self._rim, axis=0).max())
        outline = self.disk.outline()
        found: list[tuple[StraightCut, ...]] = []
        for angle in np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS:
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

    # ------------------------------------------------------------------ the search itself

    def fewest(self, limit: float, most_cuts: int) -> tuple[CutPlan | None, list[CutPlan]]:
        """Return the plan of fewest cuts within a limit, and every plan laid flat on the way."""
        seen: list[CutPlan] = []
        allowed = 2.0 * np.log1p(limit)
        drop = _DEEPEST * core_drop(limit)
        kept: tuple[StraightCut, ...] = ()
        for count in range(1, most_cuts + 1):
            families = self.ranked([*self.star(count, drop), *self.one_more(kept)])
            if not families:
                continue
            kept = families[0][1]
            for left, cuts in families[:2]:
                if count > 1 and _LEAST_RATIO * left > allowed:
                    break
                plan = lay_flat(self.disk, cuts, self.solve)
                if plan is None:
                    continue
                seen.append(plan)
                if self.hollow and plan.overlap_mm2 > 0.0:
                    # Where it curves like a saddle every further cut only overlaps more.
                    return None, seen
                if plan.meets(limit):
                    short = self.shortened(plan, limit)
                    seen.append(short)
                    return short, seen
        return None, seen

    def shorter_with_one_more(self, plan: CutPlan, limit: float) -> CutPlan | None:
        """Return a plan of one cut more within the limit that is shorter in all, if any is."""
        families = self.ranked(self.star(len(plan.cuts) + 1, _DEEPEST * core_drop(limit)))
        if not families:
            return None
        laid = lay_flat(self.disk, families[0][1], self.solve)
        if laid is None or not laid.meets(limit):
            return None
        short = self.shortened(laid, limit)
        return short if short.length_mm < _SHORTER * plan.length_mm else None

    def shortened(self, plan: CutPlan, limit: float) -> CutPlan:
        """Return a plan with its cuts drawn back as far as the limit allows."""
        best = plan
        reach = 2.0 * np.log1p(limit)
        current, wanted = plan, 1.0
        for _ in range(_ROUNDS_OF_SHORTENING):
            left = self.left(current.cuts)[0]
            target = wanted * left * reach / (2.0 * np.log1p(current.strain))
            drawn = self._drawn_back(best.cuts, target)
            if drawn is None:
                break
            laid = lay_flat(self.disk, drawn, self.solve)
            if laid is None:
                break
            current = laid
            if laid.meets(limit) and laid.length_mm < best.length_mm:
                best = laid
            elif not laid.meets(limit):
                wanted *= 0.985
        # Where the tips are not what holds the strain up, u does not tell: try it.
        for _ in range(_ROUNDS_OF_SHORTENING):
            drawn = _drawn(best.cuts, np.full(len(best.cuts), _A_LITTLE_BACK))
            tried = lay_flat(self.disk, drawn, self.solve) if self.allowed(drawn) else None
            if tried is None or not tried.meets(limit):
                break
            best = tried
        return best

    def _drawn_back(
        self, cuts: Sequence[StraightCut], target: float
    ) -> tuple[StraightCut, ...] | None:
        """Return the cuts drawn back together, then each by itself, while u keeps its range."""

        def holds(shares: Floats) -> bool:
            return self.left(_drawn(cuts, shares))[0] <= target

        shares = np.ones(len(cuts))
        if not holds(shares):
            return None
        low, high = 0.3, 1.0
        for _ in range(6):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if holds(np.full(len(cuts), middle)) else (middle, high)
        shares = np.full(len(cuts), high)
        for number in range(len(cuts)):
            for factor in (0.6, 0.8, 0.9):
                tried = shares.copy()
                tried[number] *= factor
                if holds(tried):
                    shares = tried
                    break
        return _drawn(cuts, shares)
