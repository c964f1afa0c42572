"""How girth goes on above and below the waist and the hip, so that they stay where they are."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from fitkit.body.body import Body
from fitkit.body.measure_gradient import measure_gradients
from fitkit.body.tape_reading import TapeMeasure, girth_reading
from fitkit.body.taut_round import taut_round

__all__ = ["LevelSlopes"]

_UP = np.array([0.0, 0.0, 1.0])
_LEVELS = ("waist", "hip")
_STEP_MM = 18.0
_SPREAD_MM = 0.4


@dataclass(frozen=True, slots=True)
class LevelSlopes:
    """Differences between the girth a little above and a little below a level.

    A waist is narrowest, a hip widest: there the girth has no slope. A body whose waist grew
    while its hip shrank would be narrowest lower down than before, and one who looks for the
    waist again would measure another girth than the one that was asked for.

    Attributes
    ----------
    names
        The levels that are held.
    wanted_mm
        Their differences as they shall be: those of the body as it was.
    """

    names: tuple[str, ...]
    wanted_mm: tuple[float, ...]

    @classmethod
    def of(cls, body: Body, targets: Collection[str]) -> LevelSlopes:
        """Return the slopes of a body at those levels of it whose girth is to change."""
        names = tuple(
            name for name in _LEVELS if name in targets and f"front {name}" in body.landmarks
        )
        found = cls(names, ()).taken_mm(body)
        return cls(names, tuple(found)) if found is not None else cls((), ())

    @property
    def spreads_mm(self) -> tuple[float, ...]:
        """How far off costs as much as the change of shape itself."""
        return (_SPREAD_MM,) * len(self.names)

    def taken_mm(self, body: Body) -> list[float] | None:
        """Return the differences on a body; None where a level is lost."""
        pairs = self._pairs(body)
        if pairs is None:
            return None
        return [above.length_mm - below.length_mm for above, below in pairs]

    def gradients(self, body: Body) -> list[sp.csr_array]:
        """Return how the differences answer to the shift of every vertex, (V, 3) sparse each."""
        pairs = self._pairs(body) or []
        each = measure_gradients(body.mesh, [one for pair in pairs for one in pair])
        return [sp.csr_array(each[k] - each[k + 1]) for k in range(0, len(each), 2)]

    def _pairs(self, body: Body) -> list[tuple[TapeMeasure, TapeMeasure]] | None:
        pairs = []
        for name in self.names:
            at = body.landmarks[f"front {name}"].at_mm
            inside = np.array([0.0, body.axis("trunk").start_mm[1], at[2]])
            above, below = (
                taut_round(body.mesh, inside + step * _UP, _UP) for step in (_STEP_MM, -_STEP_MM)
            )
            if above is None or below is None:
                return None
            pairs.append((girth_reading(name, above, ""), girth_reading(name, below, "")))
        return pairs
