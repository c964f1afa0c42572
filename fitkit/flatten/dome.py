"""Part of a ball standing on a plate, trimmed to it, with the cuts that make petals of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit.errors import DesignError
from fitkit.flatten.attachment_seat import Seat
from fitkit.flatten.relief_cuts import SurfaceCut
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = ["TrimmedDome", "trimmed_dome"]

_MERIDIANS = 96
_ROWS = 24
# A meridian is followed in chords of this angle to where it meets the plate (0.01 mm on 60 mm).
_CHORD_RAD = np.radians(1.5)
# Petals stay joined within this share of the way from the pole to the foot.
_JOINED = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class TrimmedDome:
    """A dome down to its foot.

    Attributes
    ----------
    mesh
        A disk, wound outward, at the middle of the sheet.
    rim
        (B,) int: its foot, the dome on the left seen from outside.
    rim_normals
        (B, 3) float, unit: of the plate there.
    cuts
        Between its petals.
    """

    mesh: TriangleMesh
    rim: Ints
    rim_normals: Floats
    cuts: tuple[SurfaceCut, ...]


def trimmed_dome(design: AttachmentDesign, outside: TriangleMesh, seat: Seat) -> TrimmedDome:
    """Return a dome where it stands on a plate's outside.

    Raises
    ------
    DesignError
        When it is higher than a ball of its breadth would be, or does not meet the plate all round.
    """
    half, height = 0.5 * design.across_mm, design.height_mm
    radius = (half**2 + height**2) / (2.0 * height)
    centre = seat.at_mm + (height - radius) * seat.axis
    radius -= 0.5 * design.thickness_mm
    turns = 2.0 * np.pi * np.arange(_MERIDIANS) / _MERIDIANS
    around = seat.around(turns)
    polar = np.arange(0.0, np.radians(170.0), _CHORD_RAD)

    def on_ball(angle: Floats, ways: Floats) -> Floats:
        points: Floats = centre + radius * (
            np.cos(angle)[..., None] * seat.axis + np.sin(angle)[..., None] * ways
        )
        return points

    points = on_ball(polar[None], around[:, None])
    starts, steps = points[:, :-1].reshape(-1, 3), np.diff(points, axis=1).reshape(-1, 3)
    hits = SurfaceRays(outside).first_hit(starts, steps)
    meets = (hits.distance_mm <= np.linalg.norm(steps, axis=1)).reshape(_MERIDIANS, -1)
    if not meets.any(axis=1).all():
        raise DesignError(
            f"The dome '{design.name}' does not meet '{design.on}' on "
            f"{100.0 * (1.0 - meets.any(axis=1).mean()):.0f} % of its foot.",
            "Move it inwards, make it smaller, or let it lean less.",
        )
    row = np.arange(_MERIDIANS) * meets.shape[1] + meets.argmax(axis=1)
    feet = hits.points_mm[row]
    up = (feet - centre) @ seat.axis
    foot = np.arctan2(np.einsum("ni,ni->n", feet - centre, around), up)
    share = np.arange(1, _ROWS + 1) / _ROWS
    grid = on_ball(share[:, None] * foot[None], around[None])
    # The chord's own end, so that the rim lies on the plate.
    grid[-1] = feet
    pole = centre + radius * seat.axis
    vertices = np.vstack([pole[None], grid.reshape(-1, 3)])
    here = 1 + np.arange(_MERIDIANS)
    beside = 1 + (np.arange(_MERIDIANS) + 1) % _MERIDIANS
    faces = [np.column_stack([np.zeros(_MERIDIANS, dtype=np.int64), here, beside])]
    for k in range(_ROWS - 1):
        inner, outer = k * _MERIDIANS, (k + 1) * _MERIDIANS
        faces.append(np.column_stack([inner + here, outer + here, outer + beside]))
        faces.append(np.column_stack([inner + here, outer + beside, inner + beside]))
    normals = outside.face_normals_scaled()[hits.faces[row]]
    mesh = TriangleMesh(vertices, np.concatenate(faces))
    return TrimmedDome(
        mesh,
        (_ROWS - 1) * _MERIDIANS + here,
        normals / np.linalg.norm(normals, axis=1, keepdims=True),
        _petals(design.gores, seat, turns, foot, on_ball),
    )


def _petals(
    gores: int,
    seat: Seat,
    turns: Floats,
    foot: Floats,
    on_ball: Callable[[Floats, Floats], Floats],
) -> tuple[SurfaceCut, ...]:
    if gores < 1:
        return ()
    at = 2.0 * np.pi * (np.arange(gores) + 0.5) / gores
    ends = np.interp(at, np.append(turns, 2.0 * np.pi), np.append(foot, foot[0]))
    ways = seat.around(at)
    feet, tips = on_ball(ends, ways), on_ball(_JOINED * ends, ways)
    return tuple(SurfaceCut(edge, tip) for edge, tip in zip(feet, tips, strict=True))
