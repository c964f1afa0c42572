"""The skin that moves under a plate, pose by pose, ready to be searched."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitkit.geometry.arrays import Bools
from fitkit.geometry.surface_tree import SurfaceTree, surface_tree
from fitkit.geometry.topology import border_vertices
from fitkit.motion.pose import Pose
from fitkit.motion.skin_body import SkinBody
from fitkit.motion.skin_contact import PosedSkin

__all__ = ["MovingSkin", "Rides", "SkinPart", "skin_part"]

# Skin whose share differs by less from a plate's goes with it: 0.2 mm at 200 mm and 60 degrees.
_SAME_SHARE = 1e-3

Rides = tuple[float, ...] | None
"""What shares of the joints that turn something goes with; None where it goes its own way."""


@dataclass(frozen=True, slots=True, eq=False)
class SkinPart:
    """The skin that does not go with some plates: a body of its own, ready to be searched."""

    body: SkinBody
    tree: SurfaceTree
    edge: Bools


_PARTS: WeakKeyDictionary[SkinBody, dict[tuple[Rides, tuple[str, ...]], SkinPart | None]] = (
    WeakKeyDictionary()
)


def skin_part(body: SkinBody, rides: Rides, joints: tuple[str, ...]) -> SkinPart | None:
    """Return the skin that moves under plates that ride so, if any; each is made once."""
    known = _PARTS.setdefault(body, {})
    if (rides, joints) not in known:
        known[rides, joints] = _cut_skin(body, rides, joints)
    return known[rides, joints]


def _cut_skin(body: SkinBody, rides: Rides, joints: tuple[str, ...]) -> SkinPart | None:
    goes: Bools = np.full(len(body.mesh.vertices), rides is not None)
    for joint, share in zip(joints, rides or (), strict=rides is not None):
        own = body.shares.get(joint)
        if own is not None:
            goes &= np.abs(own - share) < _SAME_SHARE
    faces = body.mesh.faces
    moves = ~goes
    if not moves.any():
        return None
    # Two rounds of skin that goes with the plates stay, so that no border lies amid the rest.
    for _ in range(2):
        touching = moves[faces].any(axis=1)
        moves[faces[touching]] = True
    part, used = body.mesh.faces_only(np.asarray(moves[faces].any(axis=1)))
    tree = surface_tree(part)
    on_edge = border_vertices(part)[tree.faces]
    shares = {name: share[used] for name, share in body.shares.items()}
    return SkinPart(SkinBody(part, body.joints, shares), tree, np.asarray(on_edge.any(axis=1)))


class MovingSkin:
    """A part of the skin, pose by pose; what is asked for again is kept."""

    def __init__(self, part: SkinPart) -> None:
        self._part = part
        self._known: dict[float, PosedSkin] = {}

    def at(self, part: float, pose: Pose) -> PosedSkin:
        """Return the skin in the pose at a part of the range."""
        if part not in self._known:
            body = self._part.body
            places = pose.moved(body.mesh.vertices, body.shares)
            self._known[part] = PosedSkin(self._part.tree.moved(places), places, self._part.edge)
        return self._known[part]

    def keep_only(self, part: float) -> None:
        """Drop what is kept of other parts of the range."""
        self._known = {at: skin for at, skin in self._known.items() if at == part}
