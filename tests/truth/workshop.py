"""The room the photos are taken in: plank floor, walls, bench, boxes, chair, shelves."""

from __future__ import annotations

import numpy as np

from fitkit.capture.marker_sheet import marker_sheet
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.mannequin import turned_solid
from tests.truth.studio import Part, PlacedSheet
from tests.truth.texture import Material

__all__ = ["bare_room", "floor_sheets", "workshop"]

_HALF_ROOM_MM = 3000.0
_CEILING_MM = 2800.0

# middle x, y and the direction of the sheet's own x axis in degrees; sheet 1 lies in front of
# the wearer with its top edge away from the body, that is, pointing the way the wearer faces
_SHEETS = (
    (25.0, -660.0, 180.0),
    (485.0, -450.0, 205.0),
    (640.0, 45.0, -74.0),
    (440.0, 500.0, 38.0),
    (-45.0, 650.0, 12.0),
    (-480.0, 430.0, 121.0),
    (-630.0, -35.0, 84.0),
    (-455.0, -490.0, 158.0),
)


def floor_sheets(paper: str = "A4") -> tuple[PlacedSheet, ...]:
    """Return sheets 1 to 8 round the stand, 0.63 to 0.68 m from it."""
    return tuple(
        PlacedSheet.on_floor(
            marker_sheet(paper, k + 1), x_mm=x, y_mm=y, turn_rad=float(np.radians(turn))
        )
        for k, (x, y, turn) in enumerate(_SHEETS)
    )


def _plate(corner: Floats, edge_a: Floats, edge_b: Floats, cell_mm: float) -> TriangleMesh:
    """Rectangle facing ``edge_a x edge_b``, divided so that it can carry soft shadows."""
    na = max(1, round(float(np.linalg.norm(edge_a)) / cell_mm))
    nb = max(1, round(float(np.linalg.norm(edge_b)) / cell_mm))
    s, t = np.meshgrid(np.linspace(0, 1, na + 1), np.linspace(0, 1, nb + 1), indexing="ij")
    vertices = corner + s.reshape(-1, 1) * edge_a + t.reshape(-1, 1) * edge_b
    index = np.arange((na + 1) * (nb + 1)).reshape(na + 1, nb + 1)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    lower = np.stack([a, b, c], axis=-1).reshape(-1, 3)
    upper = np.stack([a, c, d], axis=-1).reshape(-1, 3)
    return TriangleMesh(vertices, np.vstack([lower, upper]))


def _joined(meshes: list[TriangleMesh]) -> TriangleMesh:
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes)])
    faces: Ints = np.vstack([m.faces + s for m, s in zip(meshes, starts, strict=False)])
    return TriangleMesh(np.vstack([m.vertices for m in meshes]), faces)


def _box(
    x: float, y: float, z: float, size: tuple[float, float, float], turn_deg: float = 0.0
) -> TriangleMesh:
    """Upright box standing on height ``z`` with its middle over (x, y)."""
    a, b, c = (np.array(v) for v in np.diag(size))
    low = np.array([-size[0] / 2, -size[1] / 2, 0.0])
    cell = 70.0
    sides = [
        _plate(low, b, a, cell),
        _plate(low + c, a, b, cell),
        _plate(low, a, c, cell),
        _plate(low + b, c, a, cell),
        _plate(low, c, b, cell),
        _plate(low + a, b, c, cell),
    ]
    angle = np.radians(turn_deg)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]]
    )
    mesh = _joined(sides)
    return mesh.with_vertices(mesh.vertices @ turn.T + np.array([x, y, z]))


def _moved(mesh: TriangleMesh, x: float, y: float, z: float = 0.0) -> TriangleMesh:
    return mesh.with_vertices(mesh.vertices + np.array([x, y, z]))


def _walls() -> list[Part]:
    h, top = _HALF_ROOM_MM, np.array([0.0, 0.0, _CEILING_MM])
    x, y = np.array([2 * h, 0.0, 0.0]), np.array([0.0, 2 * h, 0.0])
    cell = 110.0
    return [
        Part(_plate(np.array([-h, -h, 0.0]), top, x, cell), Material.PLASTER),
        Part(_plate(np.array([-h, h, 0.0]), x, top, cell), Material.BRICK),
        Part(_plate(np.array([-h, -h, 0.0]), y, top, cell), Material.PLASTER),
        Part(_plate(np.array([h, -h, 0.0]), top, y, cell), Material.PLASTER),
        Part(_plate(np.array([-h, -h, _CEILING_MM]), y, x, 250.0), Material.PLASTER),
        Part(_box(h, -1650.0, 1250.0, (30.0, 1900.0, 60.0)), Material.WOOD),
        Part(_box(h, -1650.0, 1310.0, (12.0, 1800.0, 1080.0)), Material.WINDOW),
        Part(_box(h, -1650.0, 1310.0, (30.0, 45.0, 1080.0)), Material.WOOD),
        Part(_box(h, -1650.0, 1830.0, (30.0, 1800.0, 40.0)), Material.WOOD),
        Part(_box(h, -1650.0, 2390.0, (30.0, 1900.0, 60.0)), Material.WOOD),
    ]


def _bench() -> list[Part]:
    y = 2560.0
    legs = [_box(x, y + dy, 0.0, (70, 70, 780)) for x in (-1500, 300) for dy in (-260, 260)]
    top = _box(-600.0, y, 780.0, (2000.0, 660.0, 60.0))
    return [
        Part(_joined([*legs, top]), Material.WOOD),
        Part(_box(-1250.0, y - 60, 840.0, (330, 240, 210), 14), Material.CARDBOARD),
        Part(_box(-1210.0, y - 40, 1050.0, (240, 180, 130), -9), Material.PAINT),
        Part(_box(-640.0, y + 60, 840.0, (420, 300, 260), -6), Material.CARDBOARD),
        Part(
            _moved(turned_solid([(70, 0), (70, 190), (64, 196)]), -250, y - 90, 840), Material.PAINT
        ),
        Part(_moved(turned_solid([(52, 0), (52, 140)]), -90, y - 150, 840), Material.STEEL),
        Part(_box(150.0, y, 840.0, (300, 200, 170), 22), Material.PAINT),
        Part(_box(-700.0, 2975.0, 1380.0, (1700.0, 40.0, 900.0)), Material.WOOD),
        Part(_box(-1150.0, 2945.0, 1560.0, (60.0, 22.0, 520.0), 0), Material.STEEL),
        Part(_box(-900.0, 2945.0, 1650.0, (230.0, 22.0, 50.0), 0), Material.STEEL),
        Part(_box(-520.0, 2945.0, 1500.0, (90.0, 22.0, 600.0), 0), Material.PAINT),
        Part(_box(-180.0, 2945.0, 1700.0, (260.0, 22.0, 260.0), 0), Material.PAINT),
    ]


def _chair(x: float, y: float, turn_deg: float) -> list[Part]:
    pieces = [_box(dx, dy, 0.0, (38, 38, 440)) for dx in (-190, 190) for dy in (-190, 190)]
    pieces += [_box(dx, 200.0, 480.0, (36, 30, 470)) for dx in (-180, 180)]
    pieces += [_box(0.0, 200.0, z, (400, 22, 70)) for z in (640, 800)]
    seat = _box(0.0, 0.0, 440.0, (440, 430, 45))
    angle = np.radians(turn_deg)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]]
    )
    parts = []
    for mesh, material in ((_joined(pieces), Material.WOOD), (seat, Material.CLOTH)):
        parts.append(
            Part(mesh.with_vertices(mesh.vertices @ turn.T + np.array([x, y, 0.0])), material)
        )
    return parts


def _shelves() -> list[Part]:
    x = -2780.0
    boards = [_box(x, -500.0, z, (380, 1500, 28)) for z in (120, 620, 1120, 1620)]
    posts = [
        _box(x + dx, -500 + dy, 0.0, (40, 40, 1800)) for dx in (-170, 170) for dy in (-740, 740)
    ]
    rng = np.random.default_rng(4)
    parts = [Part(_joined([*boards, *posts]), Material.STEEL)]
    kinds = (Material.CARDBOARD, Material.PAINT, Material.CLOTH, Material.CARDBOARD)
    for z in (148, 648, 1148, 1648):
        y = -1190.0
        while y < 120.0:
            width = rng.uniform(150, 380)
            size = (rng.uniform(200, 320), width, rng.uniform(130, 390))
            turn = rng.uniform(-7, 7)
            parts.append(
                Part(_box(x + 20, y + width / 2, z, size, turn), kinds[rng.integers(len(kinds))])
            )
            y += width + rng.uniform(25, 130)
    return parts


def _floor(cells: tuple[float, float, float]) -> Part:
    """Boards, divided more finely towards the stand, where shadows are looked at."""
    h = _HALF_ROOM_MM
    rings = (0.0, 260.0, 1300.0, h)
    floors = []
    for inner, outer, cell in zip(rings[:-1], rings[1:], cells, strict=True):
        for low, high in (
            ((-outer, -outer), (outer, -inner)),
            ((-outer, inner), (outer, outer)),
            ((-outer, -inner), (-inner, inner)),
            ((inner, -inner), (outer, inner)),
        ):
            size = np.array(high) - np.array(low)
            if size.min() > 0:
                along, up = np.array([size[0], 0, 0]), np.array([0, size[1], 0])
                floors.append(_plate(np.array([*low, 0.0]), along, up, cell))
    return Part(_joined(floors), Material.BOARDS)


def bare_room() -> tuple[Part, ...]:
    """Return floor and walls only, coarsely lit, for quick scenes."""
    return (_floor((20.0, 40.0, 150.0)), *_walls())


def workshop() -> tuple[Part, ...]:
    """Return the room and its clutter; the space within 1.9 m of the stand is free."""
    parts = [_floor((9.0, 26.0, 48.0)), *_walls(), *_bench(), *_shelves()]
    parts += _chair(1750.0, 1850.0, -38.0)
    parts += _chair(-2150.0, -2350.0, 152.0)
    parts += [
        Part(_box(2480.0, 2450.0, 0.0, (620, 520, 460), 12), Material.CARDBOARD),
        Part(_box(2510.0, 2480.0, 460.0, (430, 400, 330), -18), Material.CARDBOARD),
        Part(_box(2600.0, 900.0, 0.0, (520, 700, 720), 3), Material.WOOD),
        Part(_box(2590.0, 800.0, 720.0, (300, 360, 240), 25), Material.PAINT),
        Part(_box(2600.0, 1110.0, 720.0, (180, 160, 310), 8), Material.CLOTH),
        Part(_box(-300.0, -2700.0, 0.0, (900, 420, 520), -4), Material.PAINT),
        Part(_box(-420.0, -2690.0, 520.0, (420, 330, 300), 11), Material.CARDBOARD),
        Part(_moved(turned_solid([(110, 0), (140, 330), (150, 340)]), 700, -2550), Material.STEEL),
        Part(_moved(turned_solid([(45, 0), (45, 1500)]), 1150, -2800), Material.CLOTH),
        Part(_moved(turned_solid([(38, 0), (38, 1250)]), 1290, -2760), Material.CARDBOARD),
        Part(_box(-1200.0, -2930.0, 0.0, (760, 40, 1500), 0), Material.WOOD),
        Part(_box(100.0, -2985.0, 1250.0, (900, 20, 640), 0), Material.PAINT),
        Part(_box(1700.0, -2985.0, 1100.0, (520, 20, 740), 0), Material.CLOTH),
        Part(_box(2985.0, 1000.0, 1350.0, (20, 1100, 800), 0), Material.PAINT),
        Part(_box(1500.0, 2980.0, 1100.0, (800, 20, 1000), 0), Material.CLOTH),
        Part(_box(-2600.0, 1700.0, 0.0, (600, 900, 380), 6), Material.CLOTH),
        Part(_box(-2985.0, 1500.0, 1150.0, (20, 1300, 900), 0), Material.CARDBOARD),
    ]
    return tuple(parts)
