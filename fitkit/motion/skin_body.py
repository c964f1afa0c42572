"""A body's skin and the joints that move it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitkit.body.joints import Joint
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.motion.pose import Pose

__all__ = ["SkinBody"]


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class SkinBody:
    """The body's surface, its joints, and how far, (V,) float 0..1, its skin goes with each."""

    mesh: TriangleMesh
    joints: Mapping[str, Joint]
    shares: Mapping[str, Floats]

    def posed(self, pose: Pose) -> TriangleMesh:
        """Return the surface in a pose."""
        return self.mesh.with_vertices(pose.moved(self.mesh.vertices, self.shares))
