"""Where the outline of the body lies in the photos, as moves of the surface along its normal.

Seen from a camera, the surface turns away along its rim. There the photo changes from body to
what is behind, however plain the body is. A move of the surface along its normal moves the rim
across that edge, so each photo says how far the rim should move.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.tone_curve import light_of_levels
from fitkit.geometry.arrays import Bools, Bytes, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene

__all__ = ["rim_likeness"]

# Means over this length on either side tell body from background; half a step's length. Longer ones
# take in how the body grows brighter or darker towards its rim, which draws the edge off it.
_WINDOW_PX, _STEP_PX = 2.0, 0.5
_WINDOW_N = round(_WINDOW_PX / _STEP_PX)
_ALONG_PX = (-1.5, 0.0, 1.5)
# Difference of colour at which an edge counts half.
_HALF_GREY = 14.0


def rim_likeness(
    mesh: TriangleMesh,
    normal: Floats,
    cameras: Sequence[Camera],
    pictures: Sequence[Bytes],
    moves_mm: Floats,
    *,
    clear_mm: float,
    behind_mm: float,
    cell_mm: float,
    above_mm: float = -np.inf,
    only: Bools | None = None,
) -> tuple[Floats, Floats]:
    """Return how much each vertex looks like outline when moved, and how often it was judged.

    A rim need not lie on the outline of the whole body: an arm in front of the trunk ends at an
    edge too, of light and shade where the two have one colour.

    Parameters
    ----------
    mesh
        Closed and wound outward.
    normal
        (V, 3) float, unit, evened out.
    cameras, pictures
        In the same order; (h, w) or (h, w, 3) uint8, whole or reduced in size.
    moves_mm
        (O,) float: moves along the normal, evenly spaced.
    clear_mm
        How far off the surface a ray past the rim must go free.
    behind_mm
        How far behind the rim it may meet the surface all the same.
    cell_mm
        Rims of one camera that lie in the same cell of its picture, this long on the surface,
        share one vote: a ray touches the body in one place, whichever it is.
    above_mm
        Rims below this height are left out.
    only
        (V,) bool: vertices whose rims are looked for; all where None.

    Returns
    -------
    Floats
        (V, O) float, 0 to 1: mean strength of the edge over the photos in which the vertex lies
        on the rim.
    Floats
        (V,) float: how many photos those are, shares of edges counted.
    """
    scene = MeshScene(mesh)
    edges = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    edges = edges[edges[:, 0] < edges[:, 1]]
    if only is not None:
        edges = edges[only[edges].all(axis=1)]
    total = np.zeros((len(mesh.vertices), len(moves_mm)))
    count = np.zeros(len(mesh.vertices))
    for camera, picture in zip(cameras, pictures, strict=True):
        ends, share, place, outward = _rim(mesh, normal, edges, camera, above_mm)
        centre = camera.centre_mm()
        ways = place + clear_mm * outward - centre
        met_mm = scene.met_mm(np.broadcast_to(centre, ways.shape), ways)
        free = met_mm > np.linalg.norm(ways, axis=1) + behind_mm
        ends, share, place, outward = ends[free], share[free], place[free], outward[free]
        strength, known = _edge_strength(picture, camera, place, outward, moves_mm)
        alone = _alone(camera, place, cell_mm)
        for side, weight in ((0, alone * (1.0 - share)), (1, alone * share)):
            np.add.at(total, ends[known, side], weight[known, None] * strength[known])
            np.add.at(count, ends[known, side], weight[known])
    return total / np.maximum(count, 1e-9)[:, None], count


def _rim(
    mesh: TriangleMesh, normal: Floats, edges: Ints, camera: Camera, above_mm: float
) -> tuple[Ints, Floats, Floats, Floats]:
    """Return where edges cross the rim: their ends, the share of the second, place, normal."""
    towards = camera.centre_mm() - mesh.vertices
    facing = np.einsum("vi,vi->v", towards, normal)
    one, other = facing[edges].T
    crossed = np.flatnonzero((one > 0) != (other > 0))
    ends = edges[crossed]
    share = one[crossed] / (one[crossed] - other[crossed])
    place = _between(mesh.vertices, ends, share)
    high = place[:, 2] > above_mm
    ends, share, place = ends[high], share[high], place[high]
    outward = _between(normal, ends, share)
    view = camera.centre_mm() - place
    view /= np.linalg.norm(view, axis=1, keepdims=True)
    outward -= view * np.einsum("ni,ni->n", outward, view)[:, None]
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-9)
    return ends, share, place, outward


def _between(values: Floats, ends: Ints, share: Floats) -> Floats:
    mixed: Floats = values[ends[:, 0]] + share[:, None] * (values[ends[:, 1]] - values[ends[:, 0]])
    return mixed


def _alone(camera: Camera, place: Floats, cell_mm: float) -> Floats:
    """(N,) float: one over the number of places that the camera sees in the same cell."""
    if len(place) == 0:
        return np.zeros(0)
    local = camera.camera_from_world.apply(place)
    side = cell_mm / float(np.median(local[:, 2]))
    cell = np.floor(local[:, :2] / local[:, 2:] / side).astype(np.int64)
    _, of_place, count = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
    shares: Floats = 1.0 / count[of_place.ravel()]
    return shares


def _edge_strength(
    picture: Bytes, camera: Camera, place: Floats, outward: Floats, moves_mm: Floats
) -> tuple[Floats, Bools]:
    """Return (N, O) edge strength, 0 to 1, at each move, and which rims lie inside the photo."""
    if len(place) == 0:
        return np.zeros((0, len(moves_mm))), np.zeros(0, dtype=np.bool_)
    height, width = picture.shape[:2]
    factor = np.array([width / camera.lens.width_px, height / camera.lens.height_px])
    here = (camera.project(place) + 0.5) * factor - 0.5
    per_mm = ((camera.project(place + outward) + 0.5) * factor - 0.5) - here
    length = np.linalg.norm(per_mm, axis=1)
    across = per_mm / np.maximum(length, 1e-9)[:, None]
    reach_px = float(np.abs(moves_mm).max() * length.max()) + _WINDOW_PX + 1.0
    steps_n = int(np.ceil(reach_px / _STEP_PX))
    steps = _STEP_PX * np.arange(-steps_n, steps_n + 1)
    along = np.stack([-across[:, 1], across[:, 0]], axis=1)
    profile: Floats = np.zeros((len(place), len(steps), picture[:1, :1].size))
    for aside in _ALONG_PX:
        at = here[:, None] + steps[:, None] * across[:, None] + aside * along[:, None]
        at = at.astype(np.float32)
        taken = cv2.remap(
            picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        profile += taken.reshape(profile.shape) / len(_ALONG_PX)
    inside = (here > reach_px).all(axis=1)
    inside &= (here < np.array([width, height]) - 1 - reach_px).all(axis=1)
    # Whether there is an edge is told by the greys, where it runs by the light: half of the step's
    # light falls on it, half of the greys lie beside it, towards the darker side.
    sharpest = _steps_apart(profile).max(axis=1, keepdims=True)
    apart = _steps_apart(light_of_levels(profile))
    sharp = sharpest**2 / (sharpest**2 + _HALF_GREY**2)
    # Against the sharpest edge in reach, so that strong ones keep their peak.
    strength = sharp * (apart / np.maximum(apart.max(axis=1, keepdims=True), 1e-9)) ** 2
    # Edge k lies half a step before step k + window.
    first = steps[_WINDOW_N] - 0.5 * _STEP_PX
    wanted = np.clip(
        (moves_mm * length[:, None] - first) / _STEP_PX, 0.0, strength.shape[1] - 1.001
    )
    low = wanted.astype(np.int64)
    rows = np.arange(len(place))[:, None]
    part = wanted - low
    return strength[rows, low] * (1.0 - part) + strength[rows, low + 1] * part, inside


def _steps_apart(profile: Floats) -> Floats:
    """(N, S - 2 window + 1) float: how far the means before and behind each step lie apart.

    ``profile`` is (N, S, channels).
    """
    sums = np.cumsum(np.pad(profile, ((0, 0), (1, 0), (0, 0))), axis=1)
    means = (sums[:, _WINDOW_N:] - sums[:, :-_WINDOW_N]) / _WINDOW_N
    # means[k] is over steps k .. k + window - 1; the edge after step e has means[e + 1] outside.
    apart: Floats = np.linalg.norm(means[:, _WINDOW_N:] - means[:, :-_WINDOW_N], axis=2)
    return apart
