"""Rigid motions between named frames."""

from __future__ import annotations

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
        if np.abs(rotation @ rotation.T - np.eye(3)).max() > 1e-6 or np.linalg.det(rotation) < 0.5:
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
