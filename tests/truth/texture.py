"""What the surfaces of the studio look like: solid patterns, evaluated where a ray lands.

All patterns are functions of the place in space (and of the printed raster for marker
sheets), so every photo sees the same cloth and the same boards.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

__all__ = ["Looks", "Material", "colours"]

Float32s = NDArray[np.float32]
Int32s = NDArray[np.int32]
_F = np.float32


class Material(IntEnum):
    """What a part is made of."""

    COVERING = 0
    BOARDS = 1
    PLASTER = 2
    WOOD = 3
    CARDBOARD = 4
    STEEL = 5
    CLOTH = 6
    WINDOW = 7
    PAINT = 8
    BRICK = 9
    PLAIN_CLOTH = 10
    PALE = 11


class Looks(NamedTuple):
    """What the parts are made of, and the lamps that shine in the glossy ones.

    Attributes
    ----------
    material
        (P,) int32.
    shift_mm
        (P, 3) float32: how far the solid pattern of each part is moved.
    contrast
        (P,) float32: of the covering's pattern, 1 as printed.
    gloss
        (P,) float32: share of the light that a lacquer mirrors straight on, 0 matt.
    cap_above_mm
        (P,) float32: where the neck ends in a wooden cap.
    crosses
        (K, 13) float32: part, middle mm, and three unit axes of each cross of tape.
    lamps
        (L, 12) float32: corner mm, two edges mm, light of each area lamp.
    """

    material: Int32s
    shift_mm: Float32s
    contrast: Float32s
    gloss: Float32s
    cap_above_mm: Float32s
    crosses: Float32s
    lamps: Float32s


_PRINT_MEAN = (0.345, 0.350, 0.320)
_FARTHEST_LEAF_MM2 = 22.1**2
_TAPE_HALF_MM, _CROSS_HALF_MM, _TAPE_REACH_MM = 9.5, 38.0, 25.0


# One signature each: left to itself numba compiles them anew for every literal salt.
@nb.njit(nb.float32(nb.int64, nb.int64, nb.int64, nb.int64), cache=True)
def _hash(x: int, y: int, z: int, salt: int) -> float:
    """Return a number in 0..1 that depends on all four integers (own mixing of odd factors)."""
    n = np.uint32(x) * np.uint32(0x9E3779B1) ^ np.uint32(y) * np.uint32(0x85EBCA77)
    n = n ^ np.uint32(z) * np.uint32(0xC2B2AE3D) ^ np.uint32(salt) * np.uint32(0x27D4EB2F)
    n = (n ^ (n >> np.uint32(15))) * np.uint32(0x2C1B3C6D)
    n = (n ^ (n >> np.uint32(12))) * np.uint32(0x297A2D39)
    n = n ^ (n >> np.uint32(15))
    # single precision on purpose: compiled code is faster for it
    return _F(n & np.uint32(0xFFFFFF)) * _F(1.0 / 16777215.0)  # type: ignore[return-value]


@nb.njit(nb.float64(nb.float64, nb.float64, nb.float64, nb.int64), cache=True)
def _noise(x: float, y: float, z: float, salt: int) -> float:
    """Smooth noise of wavelength 1, about -0.5..0.5."""
    xf, yf, zf = np.floor(x), np.floor(y), np.floor(z)
    u, v, w = x - xf, y - yf, z - zf
    u, v, w = u * u * (3 - 2 * u), v * v * (3 - 2 * v), w * w * (3 - 2 * w)
    i, j, k = int(xf) + 4096, int(yf) + 4096, int(zf) + 4096
    low = (_hash(i, j, k, salt) * (1 - u) + _hash(i + 1, j, k, salt) * u) * (1 - v) + (
        _hash(i, j + 1, k, salt) * (1 - u) + _hash(i + 1, j + 1, k, salt) * u
    ) * v
    high = (_hash(i, j, k + 1, salt) * (1 - u) + _hash(i + 1, j, k + 1, salt) * u) * (1 - v) + (
        _hash(i, j + 1, k + 1, salt) * (1 - u) + _hash(i + 1, j + 1, k + 1, salt) * u
    ) * v
    level: float = low * (1 - w) + high * w - 0.5
    return level


@nb.njit(cache=True)
def _covering(x: float, y: float, z: float) -> tuple[float, float, float]:
    """Give the printed stretch cotton: leaves with a midrib over a speckled ground.

    A leaf is the lens between two spheres, so the body's surface cuts it as two arcs that
    meet in two points.
    """
    ground = 0.34 + 0.10 * _noise(x / 55, y / 55, z / 55, 1)
    fleck = _noise(x / 7.0, y / 7.0, z / 7.0, 2) + 0.55 * _noise(x / 3.4, y / 3.4, z / 3.4, 3)
    red, green, blue = ground * 0.93, ground * 1.06, ground * 1.02
    if fleck > 0.17:
        red, green, blue = red * 1.30, green * 1.28, blue * 1.18
    elif fleck < -0.20:
        red, green, blue = red * 0.74, green * 0.76, blue * 0.84
    cell = 44.0
    i0, j0, k0 = (
        int(np.floor(x / cell - 0.5)),
        int(np.floor(y / cell - 0.5)),
        int(np.floor(z / cell - 0.5)),
    )
    top = -1.0
    kind = 0.0
    rib = 0.0
    for n in range(24):
        leaf = n // 8
        i, j, k = i0 + (n & 1), j0 + ((n >> 1) & 1), k0 + ((n >> 2) & 1)
        a, b, c = i + 4096, j + 4096, k + 4096
        # No leaf reaches farther than 22 mm; most are too far along one axis already.
        dx = x - (i + _hash(a, b, c, 10 + leaf)) * cell
        if dx * dx > _FARTHEST_LEAF_MM2:
            continue
        dy = y - (j + _hash(a, b, c, 20 + leaf)) * cell
        if dy * dy > _FARTHEST_LEAF_MM2:
            continue
        dz = z - (k + _hash(a, b, c, 30 + leaf)) * cell
        if dx * dx + dy * dy + dz * dz > _FARTHEST_LEAF_MM2:
            continue
        reach = 13.0 + 9.0 * _hash(a, b, c, 40 + leaf)
        if dx * dx + dy * dy + dz * dz > reach * reach:
            continue
        height = 2.0 * _hash(a, b, c, 50 + leaf) - 1.0
        turn = 6.2831853 * _hash(a, b, c, 60 + leaf)
        flat = np.sqrt(max(0.0, 1.0 - height * height))
        nx, ny, nz = flat * np.cos(turn), flat * np.sin(turn), height
        thick = 0.34 * reach
        radius = (reach * reach + thick * thick) / (2.0 * thick)
        shift = radius - thick
        up = dx * nx + dy * ny + dz * nz
        out2 = dx * dx + dy * dy + dz * dz - up * up
        if out2 + (abs(up) + shift) ** 2 < radius * radius:
            order = _hash(a, b, c, 70 + leaf)
            if order > top:
                top = order
                kind = _hash(a, b, c, 80 + leaf)
                rib = abs(up)
    if top >= 0.0:
        shade = 1.0 + 0.22 * fleck
        if kind < 0.42:
            red, green, blue = 0.235 * shade, 0.300 * shade, 0.290 * shade
        elif kind < 0.74:
            red, green, blue = 0.475 * shade, 0.285 * shade, 0.205 * shade
        else:
            red, green, blue = 0.530 * shade, 0.500 * shade, 0.400 * shade
        if rib < 0.8:
            red, green, blue = red * 1.25, green * 1.25, blue * 1.2
    return red, green, blue


@nb.njit(cache=True)
def _plain_cloth(
    x: float, y: float, z: float, part: int, crosses: Float32s
) -> tuple[float, float, float]:
    """Unprinted grey cloth, with crosses of dark tape stuck on."""
    for k in range(crosses.shape[0]):
        if crosses[k, 0] != part:
            continue
        dx, dy, dz = x - crosses[k, 1], y - crosses[k, 2], z - crosses[k, 3]
        if dx * dx + dy * dy + dz * dz > 1600.0:
            continue
        s = abs(dx * crosses[k, 4] + dy * crosses[k, 5] + dz * crosses[k, 6])
        t = abs(dx * crosses[k, 7] + dy * crosses[k, 8] + dz * crosses[k, 9])
        off = abs(dx * crosses[k, 10] + dy * crosses[k, 11] + dz * crosses[k, 12])
        if off < _TAPE_REACH_MM and min(s, t) < _TAPE_HALF_MM and max(s, t) < _CROSS_HALF_MM:
            return 0.055, 0.065, 0.10
    tone = 0.40 + 0.004 * _noise(x / 60, y / 60, z / 60, 41)
    return tone * 0.98, tone, tone * 1.02


@nb.njit(cache=True)
def _shine(
    x: float,
    y: float,
    z: float,
    way: tuple[float, float, float],
    normal: tuple[float, float, float],
    gloss: float,
    lamps: Float32s,
) -> tuple[float, float, float]:
    """Light that a lacquer mirrors: the lamps, softened, and a room darker below than above."""
    length = np.sqrt(way[0] ** 2 + way[1] ** 2 + way[2] ** 2)
    a, b, c = way[0] / length, way[1] / length, way[2] / length
    facing = max(-(a * normal[0] + b * normal[1] + c * normal[2]), 0.0)
    a, b, c = a + 2 * facing * normal[0], b + 2 * facing * normal[1], c + 2 * facing * normal[2]
    level = 0.42 + 0.15 * c
    red, green, blue = level * 1.02, level, level * 0.95
    for k in range(lamps.shape[0]):
        ox, oy, oz = lamps[k, 0] - x, lamps[k, 1] - y, lamps[k, 2] - z
        ux, uy, uz = lamps[k, 3], lamps[k, 4], lamps[k, 5]
        vx, vy, vz = lamps[k, 6], lamps[k, 7], lamps[k, 8]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        across = a * nx + b * ny + c * nz
        if across == 0.0:
            continue
        reach = (ox * nx + oy * ny + oz * nz) / across
        if reach <= 0.0:
            continue
        px, py, pz = a * reach - ox, b * reach - oy, c * reach - oz
        uu, vv = ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz
        s = (px * ux + py * uy + pz * uz) / uu
        t = (px * vx + py * vy + pz * vz) / vv
        # The lacquer is not quite smooth: edges blur over a twelfth of the way.
        soft = min((0.5 - abs(s - 0.5)) * np.sqrt(uu), (0.5 - abs(t - 0.5)) * np.sqrt(vv))
        share = min(max(0.5 + soft / (reach / 12.0), 0.0), 1.0)
        share = share * share * (3.0 - 2.0 * share)
        red += share * lamps[k, 9]
        green += share * lamps[k, 10]
        blue += share * lamps[k, 11]
    mirrored = gloss + (1.0 - gloss) * (1.0 - facing) ** 5
    return mirrored * red, mirrored * green, mirrored * blue


@nb.njit(cache=True)
def _boards(x: float, y: float) -> tuple[float, float, float]:
    """Floor boards along y, 135 mm wide, with grain, a joint now and then and dark gaps."""
    wide = 135.0
    board = int(np.floor(x / wide))
    across = x - board * wide
    long = 1650.0
    along = y + long * _hash(board + 500, 1, 1, 5)
    piece = int(np.floor(along / long))
    if min(across, wide - across) < 1.6 or along - piece * long < 2.0:
        return 0.06, 0.05, 0.04
    tone = 0.36 + 0.10 * (_hash(board + 500, piece + 500, 2, 6) - 0.5)
    bend = 30.0 * _noise(x / 160, y / 420, board * 3.7, 7)
    rings = _noise((x + bend) / 9.0, y / 260.0, board * 9.1 + piece, 8)
    fine = _noise((x + bend) / 2.6, y / 90.0, board * 5.3, 9)
    tone *= 1.0 + 0.34 * rings + 0.16 * fine + 0.16 * _noise(x / 240, y / 240, 0.5, 11)
    wear = _noise(x / 48, y / 48, 2.5, 12)
    if wear > 0.33:
        tone *= 1.0 - 0.5 * (wear - 0.33)
    return tone * 1.16, tone * 0.90, tone * 0.66


@nb.njit(cache=True)
def _plain(material: int, part: int, x: float, y: float, z: float) -> tuple[float, float, float]:
    if material == 2:  # plaster with trowel marks and stains
        tone = 0.60 + 0.07 * _noise(x / 420, y / 420, z / 420, 21)
        tone += 0.05 * _noise(x / 60, y / 60, z / 24, 22) + 0.03 * _noise(
            x / 14, y / 14, z / 14, 23
        )
        return tone * 1.02, tone * 0.99, tone * 0.92
    if material == 3:  # wood along z or x, coarse grain
        tone = 0.36 + 0.06 * _hash(part + 64, 3, 3, 24)
        tone *= (
            1 + 0.4 * _noise(x / 120, y / 12, z / 17, part) + 0.2 * _noise(x / 70, y / 5, z / 5, 25)
        )
        return tone * 1.18, tone * 0.88, tone * 0.58
    if material == 4:  # cardboard with tape and a printed label
        tone = 0.40 + 0.10 * (_hash(part + 64, 4, 4, 26) - 0.5)
        tone *= (
            1 + 0.14 * _noise(x / 50, y / 50, z / 6, 27) + 0.08 * _noise(x / 9, y / 9, z / 9, 28)
        )
        blot = _noise(x / 130 + part, y / 130, z / 95, 29)
        if blot > 0.26:
            tone *= 0.55 if _noise(x / 9, y / 9, z / 14, 30) > 0.0 else 1.25
        return tone * 1.15, tone * 0.92, tone * 0.66
    if material == 5:
        tone = 0.30 + 0.05 * _noise(x / 7, y / 7, z / 90, 31)
        return tone, tone * 1.01, tone * 1.04
    if material == 6:
        stripe = 0.05 * np.sin((x + y) / 11.0) * np.sin(z / 11.0) + 0.04 * np.sin((x - y) / 47.0)
        tone = 0.22 + stripe + 0.05 * _noise(x / 90, y / 90, z / 90, part)
        tone += 0.05 * _noise(x / 5, y / 5, z / 5, 33)
        return tone * 0.7, tone * 0.82, tone * 1.15
    if material == 7:
        return 1.6, 1.7, 1.8
    if material == 9:  # painted brick, 215 by 65 mm with 10 mm joints
        row = np.floor(z / 75.0)
        s = (x + y) / 225.0 + 0.5 * (row - 2 * np.floor(row / 2))
        brick = np.floor(s)
        if z - row * 75.0 < 10.0 or (s - brick) * 225.0 < 10.0:
            return 0.36, 0.35, 0.33
        tone = 0.42 + 0.16 * (_hash(int(row) + 64, int(brick) + 640, part + 9, 34) - 0.5)
        tone += 0.14 * _noise(x / 18, y / 18, z / 18, 35)
        return tone * 1.14, tone * 0.84, tone * 0.72
    hue = _hash(part + 64, 7, 7, 36)
    tone = 0.33 + 0.05 * _noise(x / 190, y / 190, z / 190, part) + 0.2 * (hue - 0.5)
    tone += 0.035 * _noise(x / 31, y / 8, z / 31, 37)
    if hue < 0.33:
        return tone * 1.3, tone * 0.55, tone * 0.42
    if hue < 0.66:
        return tone * 0.55, tone * 0.85, tone * 0.62
    return tone * 0.5, tone * 0.72, tone * 1.1


@nb.njit(parallel=True, cache=True)
def colours(
    centre: Float32s,
    ways: Float32s,
    distance: Float32s,
    face: NDArray[np.uint32],
    share: Float32s,
    faces: Int32s,
    vertex_light: Float32s,
    vertex_normal: Float32s,
    face_part: Int32s,
    looks: Looks,
    sheet_pose: Float32s,
    sheet_half: Float32s,
    prints: NDArray[np.uint8],
    cells_per_mm: float,
    out: Float32s,
) -> None:
    """Fill ``out``, (N, 3), with the linear light that comes back along each ray.

    Parameters
    ----------
    centre
        (3,) float32 mm: where the rays start.
    ways, distance, face, share
        (N, 3), (N,), (N,), (N, 2): direction of each ray, how many times its length it went
        (infinite where it met nothing), the face it met and where in it (shares of the second
        and third corner).
    faces, vertex_light, vertex_normal
        (F, 3) int32 and (V, 3) float32: the meshes, the light falling on each vertex and its
        unit normal.
    face_part
        (F,) int32.
    looks
        Of the parts.
    sheet_pose
        (S, 4) float32: middle x, y and the direction of the sheet's own x axis, on the floor.
    sheet_half
        (S, 2) float32 mm: half width and half height of the paper.
    prints
        (S, R, C) uint8: what is printed, top row first.
    """
    for n in nb.prange(ways.shape[0]):
        if not np.isfinite(distance[n]):
            out[n, 0], out[n, 1], out[n, 2] = 0.5, 0.5, 0.5
            continue
        x = centre[0] + ways[n, 0] * distance[n]
        y = centre[1] + ways[n, 1] * distance[n]
        z = centre[2] + ways[n, 2] * distance[n]
        part = face_part[face[n]]
        kind = looks.material[part]
        red, green, blue = 0.0, 0.0, 0.0
        if z > looks.cap_above_mm[part] and x * x + y * y < 90.0**2:
            red, green, blue = _plain(np.int32(3), np.int32(40), _F(2.0) * x, y, z)
        elif kind == 0:
            shift = looks.shift_mm[part]
            red, green, blue = _covering(x + shift[0], y + shift[1], z + shift[2])
            contrast = looks.contrast[part]
            if contrast != 1.0:
                red = _PRINT_MEAN[0] + contrast * (red - _PRINT_MEAN[0])
                green = _PRINT_MEAN[1] + contrast * (green - _PRINT_MEAN[1])
                blue = _PRINT_MEAN[2] + contrast * (blue - _PRINT_MEAN[2])
        elif kind == 10:
            red, green, blue = _plain_cloth(x, y, z, part, looks.crosses)
        elif kind == 11:
            red, green, blue = 0.64, 0.60, 0.54
        elif kind == 1:
            paper = False
            for s in range(sheet_pose.shape[0]):
                dx, dy = x - sheet_pose[s, 0], y - sheet_pose[s, 1]
                c, d = sheet_pose[s, 2], sheet_pose[s, 3]
                u, v = c * dx + d * dy, -d * dx + c * dy
                if abs(u) < sheet_half[s, 0] and abs(v) < sheet_half[s, 1]:
                    column = int((u + sheet_half[s, 0]) * cells_per_mm)
                    row = int((sheet_half[s, 1] - v) * cells_per_mm)
                    column = min(max(column, 0), prints.shape[2] - 1)
                    row = min(max(row, 0), prints.shape[1] - 1)
                    tone = 0.035 + 0.80 * prints[s, row, column] / 255.0
                    red, green, blue = tone, tone, tone * 0.985
                    paper = True
                    break
            if not paper:
                red, green, blue = _boards(x, y)
        else:
            red, green, blue = _plain(kind, part, x, y, z)
        if kind == 7:
            out[n, 0], out[n, 1], out[n, 2] = red, green, blue
            continue
        a, b, c3 = faces[face[n], 0], faces[face[n], 1], faces[face[n], 2]
        v1, v2 = share[n, 0], share[n, 1]
        v0 = _F(1.0) - v1 - v2
        for k in range(3):
            light = v0 * vertex_light[a, k] + v1 * vertex_light[b, k] + v2 * vertex_light[c3, k]
            albedo = red if k == 0 else (green if k == 1 else blue)
            out[n, k] = max(albedo, _F(0.01)) * light
        gloss = looks.gloss[part]
        if gloss > 0.0:
            nx = v0 * vertex_normal[a, 0] + v1 * vertex_normal[b, 0] + v2 * vertex_normal[c3, 0]
            ny = v0 * vertex_normal[a, 1] + v1 * vertex_normal[b, 1] + v2 * vertex_normal[c3, 1]
            nz = v0 * vertex_normal[a, 2] + v1 * vertex_normal[b, 2] + v2 * vertex_normal[c3, 2]
            size = np.sqrt(nx * nx + ny * ny + nz * nz)
            normal = (nx / size, ny / size, nz / size)
            way = (ways[n, 0], ways[n, 1], ways[n, 2])
            shine = _shine(x, y, z, way, normal, gloss, looks.lamps)
            out[n, 0] += shine[0]
            out[n, 1] += shine[1]
            out[n, 2] += shine[2]
