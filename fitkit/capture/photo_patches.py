"""How alike the photos look at a place on the surface: curved patches compared by correlation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

from fitkit.capture.camera import Camera
from fitkit.capture.compiled_loops import compiled_freely, prange
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


@njit(cache=True)
def _turned(camera: Floats, way: Floats) -> tuple[float, float, float]:
    """Return a world direction in the camera's axes."""
    return (
        camera[0] * way[0] + camera[1] * way[1] + camera[2] * way[2],
        camera[3] * way[0] + camera[4] * way[1] + camera[5] * way[2],
        camera[6] * way[0] + camera[7] * way[1] + camera[8] * way[2],
    )


@njit(cache=True)
def pixel_of_ray(camera: Floats, a: float, b: float) -> tuple[float, float]:
    """Return column and row of a ray (a, b, 1); the lens model is that of ``Lens``."""
    r2 = a * a + b * b
    radial = 1.0 + camera[15] * r2 + camera[16] * r2 * r2
    u = a * radial + 2.0 * camera[17] * a * b + camera[18] * (r2 + 2.0 * a * a)
    v = b * radial + camera[17] * (r2 + 2.0 * b * b) + 2.0 * camera[18] * a * b
    return camera[12] * u + camera[13], camera[12] * v + camera[14]


@njit(cache=True)
def _sideways(
    camera: Floats, way: Floats, a: float, b: float, depth_mm: float
) -> tuple[float, float, float]:
    """Return how a step of 1 mm moves the ray (a, b, 1) of a place: (a, b, 1 + d) / (1 + d)."""
    w0, w1, w2 = _turned(camera, way)
    return (w0 - a * w2) / depth_mm, (w1 - b * w2) / depth_mm, w2 / depth_mm


@compiled_freely
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
    # Where each sample lies in the tangent plane.
    s_mm = np.empty(samples, np.float32)
    t_mm = np.empty(samples, np.float32)
    for k in range(samples):
        s_mm[k] = (k % side - half_n) * spacing_mm
        t_mm[k] = (k // side - half_n) * spacing_mm
    for index in prange(len(centre_mm)):
        if views_n[index] < 2:
            continue
        seen = np.empty((MOST_VIEWS, samples), np.float32)
        ranked = np.empty(MOST_VIEWS * (MOST_VIEWS - 1) // 2, np.float32)
        place_mm = np.empty(3)
        px = np.empty(samples, np.float32)
        py = np.empty(samples, np.float32)
        # How far each sample lies off the tangent plane does not change with the offset.
        off = np.empty(samples, np.float32)
        b0 = np.float32(0.5) * np.float32(bend[index, 0])
        b1 = np.float32(0.5) * np.float32(bend[index, 1])
        b2 = np.float32(0.5) * np.float32(bend[index, 2])
        for k in range(samples):
            s, t = s_mm[k], t_mm[k]
            off[k] = -(b0 * s * s + np.float32(2.0) * b1 * s * t + b2 * t * t)
        for step in range(len(offsets_mm)):
            for axis in range(3):
                place_mm[axis] = centre_mm[index, axis] + normal[index, axis] * offsets_mm[step]
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
                # The perspective of the patch counts in full (leaving it out pulls the surface
                # inward by a few hundredths of a millimetre); the lens is linear over a patch.
                a, b = c0 / c2, c1 / c2
                u, v = pixel_of_ray(camera, a, b)
                u_a, v_a = pixel_of_ray(camera, a + _SMALL, b)
                u_b, v_b = pixel_of_ray(camera, a, b + _SMALL)
                u_a, v_a = (u_a - u) / _SMALL, (v_a - v) / _SMALL
                u_b, v_b = (u_b - u) / _SMALL, (v_b - v) / _SMALL
                # Of the middle's depth, so that the middle is (0, 0, 1).
                s_a, s_b, s_d = _sideways(camera, along[index], a, b, c2)
                t_a, t_b, t_d = _sideways(camera, across[index], a, b, c2)
                n_a, n_b, n_d = _sideways(camera, normal[index], a, b, c2)
                u_0, v_0 = np.float32(u), np.float32(v)
                u_s, v_s = np.float32(u_a * s_a + u_b * s_b), np.float32(v_a * s_a + v_b * s_b)
                u_t, v_t = np.float32(u_a * t_a + u_b * t_b), np.float32(v_a * t_a + v_b * t_b)
                u_n, v_n = np.float32(u_a * n_a + u_b * n_b), np.float32(v_a * n_a + v_b * n_b)
                for k in range(samples):
                    s, t, n = s_mm[k], t_mm[k], off[k]
                    nearer = np.float32(1.0) / (np.float32(1.0) + s * s_d + t * t_d + n * n_d)
                    px[k] = u_0 + (s * u_s + t * u_t + n * u_n) * nearer
                    py[k] = v_0 + (s * v_s + t * v_t + n * v_n) * nearer
                width, height, first = width_px[one], height_px[one], start[one]
                left, right, top, bottom = px[0], px[0], py[0], py[0]
                for k in range(1, samples):
                    left, right = min(left, px[k]), max(right, px[k])
                    top, bottom = min(top, py[k]), max(bottom, py[k])
                if not (left >= 0.0 and top >= 0.0 and right < width - 1 and bottom < height - 1):
                    continue
                total = np.float32(0.0)
                for k in range(samples):
                    column, row = int(px[k]), int(py[k])
                    fx, fy = px[k] - np.float32(column), py[k] - np.float32(row)
                    at = first + row * width + column
                    upper = grey[at] + (np.float32(grey[at + 1]) - grey[at]) * fx
                    at += width
                    lower = grey[at] + (np.float32(grey[at + 1]) - grey[at]) * fx
                    seen[count, k] = upper + (lower - upper) * fy
                    total += seen[count, k]
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
                    # Largest first; a handful is sorted soonest by hand.
                    at = pairs
                    while at > 0 and ranked[at - 1] < product:
                        ranked[at] = ranked[at - 1]
                        at -= 1
                    ranked[at] = product
                    pairs += 1
            better = (pairs + 1) // 2
            total = np.float32(0.0)
            for k in range(better):
                total += ranked[k]
            result[index, step] = total / better
    return result
