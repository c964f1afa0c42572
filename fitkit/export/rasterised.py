"""Triangles drawn pixel by pixel: which is nearest to the eye, and how light falls on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitkit.capture.compiled_loops import compiled, prange
from fitkit.geometry.arrays import Floats, Ints

__all__ = ["lit_pixels", "nearest_faces"]


@compiled
def nearest_faces(
    places_px: Floats, nearness_mm: Floats, faces: Ints, height: int, width: int
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Return for each pixel the triangle nearest to the eye, and how near it is.

    Parameters
    ----------
    places_px
        (V, 2) float px: corners in the picture, y down, pixel centres at whole numbers.
    nearness_mm
        (V,) float mm: greater is nearer.

    Returns
    -------
    face
        (H, W) int32, -1 where there is none.
    nearness
        (H, W) float32 mm, minus infinity there.
    """
    face = np.full((height, width), -1, dtype=np.int32)
    nearness = np.full((height, width), -np.inf, dtype=np.float32)
    bands = 16
    # Bands of rows are drawn side by side; each looks at all triangles and keeps its own rows.
    for band in prange(bands):
        low_row, high_row = band * height // bands, (band + 1) * height // bands
        for f in range(len(faces)):
            a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
            ay, by, cy = places_px[a, 1], places_px[b, 1], places_px[c, 1]
            top = max(int(np.ceil(min(ay, by, cy))), low_row)
            bottom = min(int(np.floor(max(ay, by, cy))), high_row - 1)
            if top > bottom:
                continue
            ax, bx, cx = places_px[a, 0], places_px[b, 0], places_px[c, 0]
            area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
            if area == 0.0:
                continue
            first = max(int(np.ceil(min(ax, bx, cx))), 0)
            last = min(int(np.floor(max(ax, bx, cx))), width - 1)
            for y in range(top, bottom + 1):
                for x in range(first, last + 1):
                    second = ((x - ax) * (cy - ay) - (y - ay) * (cx - ax)) / area
                    third = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / area
                    if second < 0.0 or third < 0.0 or second + third > 1.0:
                        continue
                    near = (
                        (1.0 - second - third) * nearness_mm[a]
                        + second * nearness_mm[b]
                        + third * nearness_mm[c]
                    )
                    if near > nearness[y, x]:
                        nearness[y, x] = near
                        face[y, x] = f
    return face, nearness


@compiled
def lit_pixels(
    face: NDArray[np.int32],
    nearness: NDArray[np.float32],
    places_px: Floats,
    faces: Ints,
    normals: Floats,
    open_sky: Floats,
    inks: Floats,
    lamps: Floats,
    ground: Floats,
) -> NDArray[np.uint8]:
    """Return the picture of what :func:`nearest_faces` saw, lit and its steps in depth darkened.

    Parameters
    ----------
    normals, open_sky
        (V, 3) float in the eye's own directions (right, up, to the eye) and (V,) float 0..1.
    inks
        (F, 3) float 0..255.
    lamps
        (K, 4) float: direction in the eye's own directions and strength.
    ground
        (3,) float 0..255.
    """
    height, width = face.shape
    picture = np.empty((height, width, 3), dtype=np.uint8)
    for y in prange(height):
        for x in range(width):
            f = face[y, x]
            red, green, blue = ground[0], ground[1], ground[2]
            if f >= 0:
                a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
                ax, ay = places_px[a, 0], places_px[a, 1]
                bx, by = places_px[b, 0] - ax, places_px[b, 1] - ay
                cx, cy = places_px[c, 0] - ax, places_px[c, 1] - ay
                area = bx * cy - by * cx
                second = ((x - ax) * cy - (y - ay) * cx) / area
                third = (bx * (y - ay) - by * (x - ax)) / area
                one = 1.0 - second - third
                nx = one * normals[a, 0] + second * normals[b, 0] + third * normals[c, 0]
                ny = one * normals[a, 1] + second * normals[b, 1] + third * normals[c, 1]
                nz = one * normals[a, 2] + second * normals[b, 2] + third * normals[c, 2]
                size = max(np.sqrt(nx * nx + ny * ny + nz * nz), 1e-9)
                nx, ny, nz = nx / size, ny / size, nz / size
                light = 0.30 + 0.08 * (0.5 + 0.5 * ny)
                for k in range(len(lamps)):
                    facing = nx * lamps[k, 0] + ny * lamps[k, 1] + nz * lamps[k, 2]
                    light += lamps[k, 3] * min(max(facing, 0.0), 1.0)
                sky = one * open_sky[a] + second * open_sky[b] + third * open_sky[c]
                light *= 0.35 + 0.65 * sky
                # towards the outline the surface turns away: darken it, as a pencil would
                light *= 1.0 - 0.35 * (1.0 - min(max(nz, 0.0), 1.0)) ** 3
                near = nearness[y, x]
                farthest = near
                for dy, dx in ((0, 1), (0, -1), (1, 0), (-1, 0)):
                    v = min(max(y + dy, 0), height - 1)
                    u = min(max(x + dx, 0), width - 1)
                    farthest = min(farthest, nearness[v, u])
                step = min(max((near - farthest - 6.0) / 12.0, 0.0), 1.0)
                light *= 1.04
                shade = 1.0 - 0.55 * step
                red = min(max(inks[f, 0] * light, 0.0), 255.0) * shade
                green = min(max(inks[f, 1] * light, 0.0), 255.0) * shade
                blue = min(max(inks[f, 2] * light, 0.0), 255.0) * shade
            picture[y, x, 0] = np.uint8(red + 0.5)
            picture[y, x, 1] = np.uint8(green + 0.5)
            picture[y, x, 2] = np.uint8(blue + 0.5)
    return picture
