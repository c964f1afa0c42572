"""How wide a gap between two plates gets while the joints turn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.face_shares import face_shares
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.pose import pose_of
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.skin_body import SkinBody

__all__ = ["swept_widths_mm"]

_STEPS = 7
_TOUCHING_MM = 1.0


def swept_widths_mm(
    rows_mm: Floats,
    first: RidingPlate,
    last: RidingPlate,
    skin: SkinBody,
    ranges: Sequence[AskedRange],
) -> Floats:
    """(N,) float mm: the widest that each row over a gap gets in the asked ranges.

    Parameters
    ----------
    rows_mm
        (N, K, 3) float mm at rest, from the first plate's edge to the last's.

    Notes
    -----
    A row's ends go with the plates. What lies between goes with the skin under it, as far off it
    as at rest, so that round the outside of a bent joint the way over it counts, not the chord.
    """
    inner = rows_mm[:, 1:-1].reshape(-1, 3)
    on_skin, faces, _ = nearest_on_mesh(skin.mesh, inner)
    corners, shares = skin.mesh.faces[faces], face_shares(skin.mesh, on_skin, faces)

    def mixed(values: Floats) -> Floats:
        found: Floats = np.einsum("nk,nki->ni", shares, values[corners])
        return found

    normals = mixed(skin.mesh.vertex_normals())
    off = np.einsum("ni,ni->n", inner - on_skin, normals)[:, None]
    shape = rows_mm[:, 1:-1].shape
    at_rest = rows_mm[:, -1] - rows_mm[:, 0]
    widest = _taut_mm(rows_mm, normals.reshape(shape), at_rest)
    for asked in ranges:
        for part in np.linspace(0.0, 1.0, _STEPS)[1:].tolist():
            pose = pose_of(skin.joints, asked.turned(part))
            posed = skin.posed(pose)
            normals = mixed(posed.vertex_normals())
            moved = rows_mm.copy()
            moved[:, 1:-1] = (mixed(posed.vertices) + off * normals).reshape(shape)
            motions = first.carried(pose), last.carried(pose)
            moved[:, 0] = motions[0].apply(rows_mm[:, 0])
            moved[:, -1] = motions[1].apply(rows_mm[:, -1])
            ahead = motions[0].turn(at_rest) + motions[1].turn(at_rest)
            widest = np.maximum(widest, _taut_mm(moved, normals.reshape(shape), ahead))
    return widest


def _taut_mm(rows: Floats, normals: Floats, ahead_at_rest: Floats) -> Floats:
    """(N,) float mm: length of each row pulled taut over what stands out between its ends.

    In the plane of the chord and the mean outward normal it is the hull of the row on that side:
    folds of the skin on the inside of a joint add nothing. Where the edges have passed each other,
    so that the way over runs against that at rest carried along, (N, 3), the gap is shut.
    """
    chord = rows[:, -1] - rows[:, 0]
    length = np.linalg.norm(chord, axis=1)
    ahead = chord / np.maximum(length, 1e-9)[:, None]
    out = normals.mean(axis=1)
    out -= np.einsum("ni,ni->n", out, ahead)[:, None] * ahead
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-9)[:, None]
    off = rows - rows[:, :1]
    x = np.einsum("nki,ni->nk", off, ahead)
    y = np.einsum("nki,ni->nk", off, out)
    # What the skin folds out past either end is beside the row, not under it.
    y = np.where((x > 0.0) & (x < length[:, None]), np.maximum(y, 0.0), 0.0)
    x = np.clip(x, 0.0, length[:, None])
    x[:, 0], x[:, -1] = 0.0, length
    y[:, 0] = y[:, -1] = 0.0
    taut = np.array([_hull_mm(one, up) for one, up in zip(x, y, strict=True)])
    shut = np.einsum("ni,ni->n", chord, ahead_at_rest) <= 0.0
    # Edges that touch at rest have no way over: however they part, the gap opens.
    shut &= np.linalg.norm(ahead_at_rest, axis=1) > _TOUCHING_MM
    return np.where(shut, 0.0, taut)


def _hull_mm(x: Floats, y: Floats) -> float:
    """Return the length of the upper hull of places, from the first to the last along x."""
    order = np.lexsort([-y, x])
    hull: list[tuple[float, float]] = []
    for at in zip(x[order].tolist(), y[order].tolist(), strict=True):
        while len(hull) > 1 and _turns_up(hull[-2], hull[-1], at):
            hull.pop()
        hull.append(at)
    places = np.array(hull)
    return float(np.linalg.norm(np.diff(places, axis=0), axis=1).sum())


def _turns_up(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) >= 0.0
