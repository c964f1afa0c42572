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

__all__ = ["PhotoStack", "SurfacePatches", "patch_likeness", "pixel_of_ray", "stack_photos"]

Likeness: TypeAlias = NDArray[np.float32]

MOST_VIEWS = 6
# Sensor noise and JPEG leave about two grey levels; contrast below that is no pattern.
_NOISE_GREY2 = 4.0
_SMALL = 1e-4


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
def _turned(camera: Floats, way: Floats) -> tuple[float, float, float]:
    """Return a world direction in the camera's axes."""
    return (
        camera[0] * way[0] + camera[1] * way[1] + camera[2] * way[2],
        camera[3] * way[0] + camera[4] * way[1] + camera[5] * way[2],
        camera[6] * way[0] + camera[7] * way[1] + camera[8] * way[2],
    )


@njit(inline="always", cache=True)
def pixel_of_ray(camera: Floats, a: float, b: float) -> tuple[float, float]:
    """Return column and row of a ray (a, b, 1); the lens model is that of ``Lens``."""
    r2 = a * a + b * b
    radial = 1.0 + camera[15] * r2 + camera[16] * r2 * r2
    u = a * radial + 2.0 * camera[17] * a * b + camera[18] * (r2 + 2.0 * a * a)
    v = b * radial + camera[17] * (r2 + 2.0 * b * b) + 2.0 * camera[18] * a * b
    return camera[12] * u + camera[13], camera[12] * v + camera[14]


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
            place_mm = centre_mm[index] + normal[index] * offsets_mm[step]
            count = 0
            for place in range(views_n[index]):
                one = views[index, place]
                camera = cameras[one]
                c0, c1, c2 = _turned(camera, place_mm)
                c0 += camera[9]
                c1 += camera[10]
                c2 += camera[11]
                if c2 <= 1.0:
                    continue
                s0, s1, s2 = _turned(camera, along[index] * spacing_mm)
                t0, t1, t2 = _turned(camera, across[index] * spacing_mm)
                n0, n1, n2 = _turned(camera, normal[index])
                # The perspective of the patch counts in full (leaving it out pulls the surface
                # inward by a few hundredths of a millimetre); the lens is linear over a patch.
                a, b = c0 / c2, c1 / c2
                u, v = pixel_of_ray(camera, a, b)
                u_a, v_a = pixel_of_ray(camera, a + _SMALL, b)
                u_b, v_b = pixel_of_ray(camera, a, b + _SMALL)
                u_a, v_a = (u_a - u) / _SMALL, (v_a - v) / _SMALL
                u_b, v_b = (u_b - u) / _SMALL, (v_b - v) / _SMALL
                width, height, first = width_px[one], height_px[one], start[one]
                total = np.float32(0.0)
                inside = True
                for k in range(samples):
                    s = k % side - half_n
                    t = k // side - half_n
                    depth = c2 + s * s2 + t * t2 + off[k] * n2
                    da = (c0 + s * s0 + t * t0 + off[k] * n0) / depth - a
                    db = (c1 + s * s1 + t * t1 + off[k] * n1) / depth - b
                    px = u + da * u_a + db * u_b
                    py = v + da * v_a + db * v_b
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
            for one in range(count):
                for other in range(one + 1, count):
                    product = np.float32(0.0)
                    for k in range(samples):
                        product += seen[one, k] * seen[other, k]
                    pair[pairs] = product
                    pairs += 1
            better = (pairs + 1) // 2
            ranked = np.sort(pair[:pairs])
            result[index, step] = ranked[pairs - better :].mean()
    return result
