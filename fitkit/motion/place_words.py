"""Where on a plate something is, as one would say it over the bench."""

from __future__ import annotations

import numpy as np

from fitkit.body.joints import Joint
from fitkit.body.side import Side
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.motion.movement import Movement

__all__ = ["edge_words", "fold_words"]

_TELLS = 0.4
# Where a movement closes, by its kind; and how far round the joint that is, in the limb's radii.
_FOLDS = {
    "knee bend": "behind the {}",
    "elbow bend": "in the crook of the {}",
    "hip bend": "in the groin at the {}",
    "neck bend forward": "under the chin",
    "shoulder lift sideways": "on top of the {}",
}
_FOLD_REACH = 4.0


def edge_words(mesh: TriangleMesh, side: Side, point_mm: Floats) -> str:
    """Return which edge of a plate, as it is worn, lies nearest to a place: ``lower rear``.

    Of a plate on one side of the wearer ``inner`` is towards the body's middle; of one in the
    middle left and right are the wearer's.
    """
    corners = mesh.corners.mean(axis=1)
    middle = np.average(corners, axis=0, weights=mesh.face_areas_mm2())
    half = np.maximum(np.abs(corners - middle).max(axis=0), 1e-9)
    x, y, z = (point_mm - middle) / half
    across = ("left", "right") if side is Side.CENTRE else ("outer", "inner")
    if side is Side.RIGHT:
        x = -x
    told = [
        (abs(z), 0, "upper" if z > 0 else "lower"),
        (abs(y), 1, "rear" if y > 0 else "front"),
        (abs(x), 2, across[0] if x > 0 else across[1]),
    ]
    strongest = sorted(told, reverse=True)[:2]
    words = [row for row in strongest if row[0] > _TELLS] or strongest[:1]
    return " ".join(word for _, _, word in sorted(words, key=lambda row: row[1]))


def fold_words(joint: Joint, movement: Movement, point_mm: Floats) -> str:
    """Return the fold that a movement closes, ``behind the left knee``, where a place lies in it.

    Empty where the place lies elsewhere, or the movement closes none.
    """
    fold = _FOLDS.get(movement.kind)
    off = point_mm - joint.centre_mm
    closing = np.cross(movement.axis, joint.bone)
    near = float(np.linalg.norm(off)) < _FOLD_REACH * joint.blend_mm
    return fold.format(joint.name) if fold and near and float(off @ closing) > 0 else ""
