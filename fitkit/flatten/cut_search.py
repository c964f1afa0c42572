"""Looking for the fewest and shortest relief cuts that let a patch lie flat within a strain.

Places are ranked by the bulge that they leave (:mod:`fitkit.flatten.bulge`), a few milliseconds
each; only the best few are laid flat. Fewest cuts first, then each cut is drawn back towards the
edge as far as the limit allows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from fitkit.flatten.cut_families import CutFamilies
from fitkit.flatten.cut_plan import CutPlan, Solve, lay_flat
from fitkit.flatten.slit_disk import StraightCut
from fitkit.geometry.arrays import Floats

__all__ = ["CutSearch", "core_drop"]

# How near to the middle of the bulge the deepest cuts go: a share of the drop of the core.
_DEEPEST = 0.3
# A flat map's log distortion over the range of u: 0.5 to 0.67 on caps and strips (closed forms:
# t^2/6 over t^2/4 on a small cap). Below this there is no hope, so nothing is laid flat.
_LEAST_RATIO = 0.42
_ROUNDS_OF_SHORTENING = 4
_A_LITTLE_BACK = 0.975
# One cut more is worth telling when all together come out this much shorter.
_SHORTER = 0.95


def core_drop(limit: float) -> float:
    """Return by how much u may drop from the middle of an uncut round core to its edge.

    A spherical cap of angular radius t needs at least the log distortion log(t / sin t) (J. Milnor,
    *A problem in cartography*, American Mathematical Monthly 76, 1969), and its u drops by
    -2 log cos(t / 2).
    """
    allowed = 2.0 * np.log1p(limit)
    t = brentq(lambda a: np.log(a / np.sin(a)) - allowed, 1e-4, 3.1)
    return float(-2.0 * np.log(np.cos(0.5 * t)))


def _drawn(cuts: Sequence[StraightCut], shares: Floats) -> tuple[StraightCut, ...]:
    """Return cuts that go only a share of their way."""
    return tuple(
        StraightCut(cut.foot_mm, cut.foot_mm + share * (cut.tip_mm - cut.foot_mm))
        for cut, share in zip(cuts, shares, strict=True)
    )


class CutSearch:
    """The search on one disk: ``families`` of cuts to try, ``solve`` to lay pieces flat."""

    def __init__(self, families: CutFamilies, solve: Solve) -> None:
        self.families = families
        self.disk = families.disk
        self.solve = solve

    def fewest(self, limit: float, most_cuts: int) -> tuple[CutPlan | None, list[CutPlan]]:
        """Return the plan of fewest cuts within a limit, and every plan laid flat on the way."""
        seen: list[CutPlan] = []
        allowed = 2.0 * np.log1p(limit)
        drop = _DEEPEST * core_drop(limit)
        kept: dict[int, tuple[StraightCut, ...]] = {0: ()}
        for count in range(1, most_cuts + 1):
            families = self.families.ranked(
                [
                    *self.families.star(count, drop),
                    *(
                        family
                        for before in self.families.before(count)
                        if before in kept
                        for family in self.families.one_more(kept[before], count)
                    ),
                ]
            )
            if not families:
                continue
            kept[count] = families[0][1]
            for left, cuts in families[:2]:
                if count > 1 and _LEAST_RATIO * left > allowed:
                    break
                plan = lay_flat(self.disk, cuts, self.solve)
                if plan is None:
                    continue
                seen.append(plan)
                if self.families.hollow and plan.overlap_mm2 > 0.0:
                    # Where it curves like a saddle every further cut only overlaps more.
                    return None, seen
                if plan.meets(limit):
                    short = self.shortened(plan, limit)
                    seen.append(short)
                    return short, seen
        return None, seen

    def shorter_with_one_more(self, plan: CutPlan, limit: float) -> CutPlan | None:
        """Return a plan of one cut more within the limit that is shorter in all, if any is."""
        families = self.families.ranked(
            self.families.star(len(plan.cuts) + 1, _DEEPEST * core_drop(limit))
        )
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
            left = self.families.left(current.cuts)[0]
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
            tried = lay_flat(self.disk, drawn, self.solve) if self.families.allowed(drawn) else None
            if tried is None or not tried.meets(limit):
                break
            best = tried
        return best

    def _drawn_back(
        self, cuts: Sequence[StraightCut], target: float
    ) -> tuple[StraightCut, ...] | None:
        """Return the cuts drawn back together, then each by itself, while u keeps its range."""

        def holds(shares: Floats) -> bool:
            return self.families.left(_drawn(cuts, shares))[0] <= target

        shares = np.ones(len(cuts))
        if not holds(shares):
            return None
        low, high = 0.3, 1.0
        for _ in range(6):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if holds(np.full(len(cuts), middle)) else (middle, high)
        shares = np.full(len(cuts), high)
        for number, twin in enumerate(self.families.twins(cuts)):
            if twin < number:
                continue
            for factor in (0.6, 0.8, 0.9):
                tried = shares.copy()
                tried[[number, twin]] *= factor
                if holds(tried):
                    shares = tried
                    break
        return _drawn(cuts, shares)
