"""Rigid motions between named frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.errors import ShapeError
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = ["RigidTransform"]


@dataclass(frozen=True, slots=True, eq=False)
class RigidTransform:
    """A rotation followed by a shift: ``x_to = rotation @ x_from + translation_mm``.

    Name instances ``to_from`` (``camera_from_world``); products chain where the inner
    names match, and the inverse swaps them.

    Attributes
    ----------
    rotation
        (3, 3) float, orthonormal with determinant +1.
    translation_mm
        (3,) float mm.
    """

    rotation: Floats
    translation_mm: Floats

    def __post_init__(self) -> None:
        rotation = frozen_floats(self.rotation, (3, 3), "rotation")
        if not _is_proper(rotation.tolist()):
            raise ShapeError("rotation is not a proper rotation.", "Orthonormalise it first.")
        object.__setattr__(self, "rotation", rotation)
        object.__setattr__(
            self, "translation_mm", frozen_floats(self.translation_mm, (3,), "translation_mm")
        )

    @classmethod
    def identity(cls) -> RigidTransform:
        """Return the motion that moves nothing."""
        return cls(np.eye(3), np.zeros(3))

    def apply(self, points_mm: Floats) -> Floats:
        """Return points, (..., 3) float mm, moved into the ``to`` frame."""
        return points_mm @ self.rotation.T + self.translation_mm

    def turn(self, directions: Floats) -> Floats:
        """Return directions, (..., 3), turned into the ``to`` frame."""
        return directions @ self.rotation.T

    def inverse(self) -> RigidTransform:
        """Return ``from_to``."""
        return RigidTransform(self.rotation.T, -self.rotation.T @ self.translation_mm)

    def __matmul__(self, other: RigidTransform) -> RigidTransform:
        """Return ``a_from_c`` for ``a_from_b @ b_from_c``."""
        return RigidTransform(
            self.rotation @ other.rotation,
            self.rotation @ other.translation_mm + self.translation_mm,
        )


def _is_proper(rows: Sequence[Sequence[float]]) -> bool:
    """Tell whether rows are of unit length, square to each other and right-handed."""
    (a, b, c), (d, e, f), (g, h, i) = rows
    off = max(
        abs(a * a + b * b + c * c - 1.0),
        abs(d * d + e * e + f * f - 1.0),
        abs(g * g + h * h + i * i - 1.0),
        abs(a * d + b * e + c * f),
        abs(a * g + b * h + c * i),
        abs(d * g + e * h + f * i),
    )
    handed = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    return off <= 1e-6 and handed > 0.0
