"""A smooth profile along a part of the body, with the energy that bending it costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.interpolate import BSpline

from fitkit.geometry.arrays import Floats

__all__ = ["LengthProfile"]

_DEGREE = 3


@dataclass(frozen=True, slots=True, eq=False)
class LengthProfile:
    """Cubic B-splines over a span; a profile is one number per spline.

    Attributes
    ----------
    low_mm, high_mm
        The span. Outside it the profile keeps the value it has at the nearer end.
    count
        How many splines.
    """

    low_mm: float
    high_mm: float
    count: int

    @classmethod
    def over(cls, low_mm: float, high_mm: float, *, knot_mm: float) -> LengthProfile:
        """Return a profile with knots about ``knot_mm`` apart."""
        spans = max(2, round((high_mm - low_mm) / knot_mm))
        return cls(low_mm, high_mm, spans + _DEGREE)

    @property
    def _knots(self) -> Floats:
        inner = np.linspace(self.low_mm, self.high_mm, self.count - _DEGREE + 1)
        knots: Floats = np.r_[[self.low_mm] * _DEGREE, inner, [self.high_mm] * _DEGREE]
        return knots

    def rows(self, at_mm: Floats) -> sp.csr_array:
        """(N, count) sparse: row times numbers is the profile's value at each place."""
        inside = np.clip(at_mm, self.low_mm, self.high_mm)
        return sp.csr_array(BSpline.design_matrix(inside, self._knots, _DEGREE))

    def energy(self, *, value: float, slope: float, bend: float, reach_mm: float) -> Floats:
        """(count, count) float: quadratic form of the integral of squares over the span.

        Of the profile p over places t in units of the reach: ``value`` p^2 +
        ``slope`` p'^2 + ``bend`` p''^2. With 1, 2, 1 it is the square of (p - p''), whose
        least answer to a pull at one place dies away on both sides without swinging over.

        References
        ----------
        G. Wahba, *Spline Models for Observational Data*, SIAM 1990, chapter 1.
        """
        steps = 8 * self.count
        at = self.low_mm + (np.arange(steps) + 0.5) / steps * (self.high_mm - self.low_mm)
        weight = (self.high_mm - self.low_mm) / steps / reach_mm
        splines = BSpline(self._knots, np.eye(self.count), _DEGREE)
        form = np.zeros((self.count, self.count))
        for order, cost in enumerate((value, slope, bend)):
            rows = splines.derivative(order)(at) if order else splines(at)
            rows = rows * reach_mm**order
            form += cost * weight * rows.T @ rows
        return form
