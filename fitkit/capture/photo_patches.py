"""How alike the photos look at a place on the surface: curved patches compared by correlation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

from fitkit.capture.camera import Camera
from fitkit.capture.compiled_loops import compiled, prange
from fitkit.geometry.arrays import Bytes, Floats, Ints

__all__ = ["PhotoStack", "SurfacePatches", "patch_likeness", "stack_photos"]

Likeness: TypeAlias = NDArray[np.float32]

MOST_VIEWS = 6
# Sensor noise and JPEG leave about two grey levels; contrast below that is no pattern.
_NOISE_GREY2 = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class PhotoStack:
    """All photos in one flat array, with the numbers of their cameras.

    Attributes
    ----------
    grey
        All pixels of all photos, one after the other.
    start
        (C + 1,) int: where each photo begins.
    width_px, height_px
        (C,) int.
    camera
        (C, 19) float: rotation row by row, translation mm, focal length, centre x and y in
        pixels of the photos as stacked, k1, k2, p1, p2.
    """

    grey: Bytes
    start: Ints
    width_px: Ints
    height_px: Ints
    camera: Floats


@dataclass(frozen=True, slots=True, eq=False)
class SurfacePatches:
    """One small piece of surface round each place, and the photos that see it.

    Attributes
    ----------
    centre_mm, normal, along, across
        (V, 3) float: the place, the outward normal, and two unit tangents.
    bend_per_mm
        (V, 3) float: second fundamental form in the tangents: along-along, along-across,
        across-across; positive where the surface falls away from the tangent plane.
    views
        (V, 6) int: photos that see the place, best first.
    views_n
        (V,) int: how many of them count.
    """

    centre_mm: Floats
    normal: Floats
    along: Floats
    across: Floats
    bend_per_mm: Floats
    views: Ints
    views_n: Ints


def stack_photos(cameras: Sequence[Camera], greys: Sequence[Bytes]) -> PhotoStack:
    """Return the photos, whole or reduced in size, with their cameras at that size."""
    rows = []
    for camera, grey in zip(cameras, greys, strict=True):
        lens, pose = camera.lens, camera.camera_from_world
        factor = grey.shape[1] / lens.width_px, grey.shape[0] / lens.height_px
        rows.append(
            [
                *pose.rotation.ravel(),
                *pose.translation_mm,
                lens.focal_px * factor[0],
                (lens.centre_x_px + 0.5) * factor[0] - 0.5,
                (lens.centre_y_px + 0.5) * factor[1] - 0.5,
                *lens.distortion(),
            ]
        )
    return PhotoStack(
        np.concatenate([grey.ravel() for grey in greys]),
        np.concatenate([[0], np.cumsum([grey.size for grey in greys])]).astype(np.int64),
        np.array([grey.shape[1] for grey in greys], dtype=np.int64),
        np.array([grey.shape[0] for grey in greys], dtype=np.int64),
        np.array(rows, dtype=np.float64),
    )


def patch_likeness(
    photos: PhotoStack,
    patches: SurfacePatches,
    offsets_mm: Floats,
    *,
    spacing_mm: float,
    half_n: int,
) -> Likeness:
    """(V, O) float32, -1 to 1: how alike the photos look when a patch is moved along its normal.

    A patch is a square of ``2 half_n + 1`` samples a side, bent as the surface is. Seen by
    each photo it gives one vector of grey values; the likeness is the mean normalised
    correlation of the better half of all pairs of photos. The noise of the photos is added to
    the vectors' lengths, so that a patch without pattern comes out near 0.

    Parameters
    ----------
    photos
        The photos.
    patches
        The places.
    offsets_mm
        (O,) float: moves along the normal to try.
    spacing_mm
        Distance between samples on the surface.
    half_n
        Samples from the middle of the patch to its edge.
    """
    return np.asarray(
        _likeness(
            photos.grey,
            photos.start,
            photos.width_px,
            photos.height_px,
            photos.camera,
            patches.centre_mm,
            patches.normal,
            patches.along,
            patches.across,
            patches.bend_per_mm,
            patches.views,
            patches.views_n,
            np.asarray(offsets_mm, dtype=np.float64),
            spacing_mm,
            half_n,
        )
    )


@njit(inline="always", cache=True)
def _image(camera: Floats, x: float, y: float, z: float) -> tuple[float, float, float]:
    """Return column, row and depth of a world point; the lens model is that of ``Lens``."""
    a = camera[0] * x + camera[1] * y + camera[2] * z + camera[9]
    b = camera[3] * x + camera[4] * y + camera[5] * z + camera[10]
    depth = camera[6] * x + camera[7] * y + camera[8] * z + camera[11]
    a /= depth
    b /= depth
    r2 = a * a + b * b
    radial = 1.0 + camera[15] * r2 + camera[16] * r2 * r2
    u = a * radial + 2.0 * camera[17] * a * b + camera[18] * (r2 + 2.0 * a * a)
    v = b * radial + camera[17] * (r2 + 2.0 * b * b) + 2.0 * camera[18] * a * b
    return camera[12] * u + camera[13], camera[12] * v + camera[14], depth


@compiled
def _likeness(
    grey: Bytes,
    start: Ints,
    width_px: Ints,
    height_px: Ints,
    cameras: Floats,
    centre_mm: Floats,
    normal: Floats,
    along: Floats,
    across: Floats,
    bend: Floats,
    views: Ints,
    views_n: Ints,
    offsets_mm: Floats,
    spacing_mm: float,
    half_n: int,
) -> Likeness:
    side = 2 * half_n + 1
    samples = side * side
    result = np.zeros((len(centre_mm), len(offsets_mm)), np.float32)
    for index in prange(len(centre_mm)):
        if views_n[index] < 2:
            continue
        seen = np.empty((MOST_VIEWS, samples), np.float32)
        pair = np.empty(MOST_VIEWS * (MOST_VIEWS - 1) // 2, np.float32)
        # How far each sample lies off the tangent plane does not change with the offset.
        off = np.empty(samples, np.float32)
        for j in range(side):
            for i in range(side):
                s = (i - half_n) * spacing_mm
                t = (j - half_n) * spacing_mm
                off[j * side + i] = -0.5 * (
                    bend[index, 0] * s * s + 2.0 * bend[index, 1] * s * t + bend[index, 2] * t * t
                )
        for step in range(len(offsets_mm)):
            x = centre_mm[index, 0] + normal[index, 0] * offsets_mm[step]
            y = centre_mm[index, 1] + normal[index, 1] * offsets_mm[step]
            z = centre_mm[index, 2] + normal[index, 2] * offsets_mm[step]
            count = 0
            for place in range(views_n[index]):
                one = views[index, place]
                camera = cameras[one]
                u, v, depth = _image(camera, x, y, z)
                if depth <= 1.0:
                    continue
                # Over a patch of some millimetres the picture is affine.
                u_s, v_s, _ = _image(
                    camera, x + along[index, 0], y + along[index, 1], z + along[index, 2]
                )
                u_t, v_t, _ = _image(
                    camera, x + across[index, 0], y + across[index, 1], z + across[index, 2]
                )
                u_n, v_n, _ = _image(
                    camera, x + normal[index, 0], y + normal[index, 1], z + normal[index, 2]
                )
                u_s, v_s = (u_s - u) * spacing_mm, (v_s - v) * spacing_mm
                u_t, v_t = (u_t - u) * spacing_mm, (v_t - v) * spacing_mm
                u_n, v_n = u_n - u, v_n - v
                width, height, first = width_px[one], height_px[one], start[one]
                total = np.float32(0.0)
                inside = True
                for k in range(samples):
                    s = k % side - half_n
                    t = k // side - half_n
                    px = u + s * u_s + t * u_t + off[k] * u_n
                    py = v + s * v_s + t * v_t + off[k] * v_n
                    if not (px >= 0.0 and py >= 0.0 and px < width - 1 and py < height - 1):
                        inside = False
                        break
                    column, row = int(px), int(py)
                    fx, fy = np.float32(px - column), np.float32(py - row)
                    at = first + row * width + column
                    upper = grey[at] + (np.float32(grey[at + 1]) - grey[at]) * fx
                    at += width
                    lower = grey[at] + (np.float32(grey[at + 1]) - grey[at]) * fx
                    value = upper + (lower - upper) * fy
                    seen[count, k] = value
                    total += value
                if not inside:
                    continue
                total /= samples
                square = np.float32(0.0)
                for k in range(samples):
                    seen[count, k] -= total
                    square += seen[count, k] * seen[count, k]
                scale = np.float32(1.0) / np.sqrt(square + np.float32(samples * _NOISE_GREY2))
                for k in range(samples):
                    seen[count, k] *= scale
                count += 1
            if count < 2:
                continue
            pairs = 0
            for a in range(count):
                for b in range(a + 1, count):
                    product = np.float32(0.0)
                    for k in range(samples):
                        product += seen[a, k] * seen[b, k]
                    pair[pairs] = product
                    pairs += 1
            better = (pairs + 1) // 2
            ranked = np.sort(pair[:pairs])
            result[index, step] = ranked[pairs - better :].mean()
    return result
