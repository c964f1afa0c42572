"""Soft pieces between plates: the strip of form in a gap, and room in it for the joints' motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.form_to_flat import on_flat
from fitkit.flatten.way_up import way_up
from fitkit.geometry.arrays import Floats, Ints, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.straight_walk import unit_normals, walk_straight
from fitkit.geometry.topology import boundary_loops
from fitkit.holding.gusset_design import GussetDesign
from fitkit.holding.soft_piece import SoftPiece, soft_piece
from fitkit.holding.worn_sheet import WornSheet
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import Patch, PatchEdge

__all__ = ["GapStrip", "gap_strip", "lay_gusset"]

_STATION_MM = 6.0
_DENSE_MM = 0.5
# Places of a row over the gap, both edges included, and of the strip from end to end.
_ACROSS, _COLUMNS = 9, 13
# Cosine between an edge and the way over to the other beyond which that is past its end.
_PAST = 0.5
_FEW = 4


@dataclass(frozen=True, slots=True, eq=False)
class GapStrip:
    """A gap at rest.

    Attributes
    ----------
    rows_mm
        (N, K, 3) float mm: rows over the gap, from the first plate's edge to the last's.
    first_under_mm, last_under_mm
        (N, 3) float mm: where the piece ends under each plate.
    """

    rows_mm: Floats
    first_under_mm: Floats
    last_under_mm: Floats

    def __post_init__(self) -> None:
        rows = frozen_floats(self.rows_mm, (None, None, 3), "rows_mm")
        object.__setattr__(self, "rows_mm", rows)
        for name in ("first_under_mm", "last_under_mm"):
            points = frozen_floats(getattr(self, name), (len(rows), 3), name)
            object.__setattr__(self, name, points)

    def widths_mm(self) -> Floats:
        """(N,) float mm: how wide the gap is over the form."""
        widths: Floats = np.linalg.norm(np.diff(self.rows_mm, axis=1), axis=2).sum(axis=1)
        return widths


def gap_strip(
    design: GussetDesign,
    sheets: tuple[WornSheet, WornSheet],
    edges_mm: tuple[Floats, Floats],
    surface: TriangleMesh,
    at_mm: Floats,
) -> GapStrip:
    """Return the gap between an edge of one plate and one of another, about a place in it.

    Parameters
    ----------
    edges_mm
        (N, 3) float mm each: one edge of each plate.
    surface
        The form between them.
    at_mm
        (3,) float mm: the stretch of the gap nearest to it is meant.

    Raises
    ------
    DesignError
        When the two edges lie nowhere beside each other.
    """
    stations, last = _even(edges_mm[0], _STATION_MM), _even(edges_mm[1], _DENSE_MM)
    away, at = cKDTree(last).query(stations)
    over = last[at] - stations
    ahead = last[np.minimum(at + 1, len(last) - 1)] - last[np.maximum(at - 1, 0)]
    cosine = np.abs(np.einsum("ni,ni->n", over, ahead)) / np.maximum(
        away * np.linalg.norm(ahead, axis=1), 1e-300
    )
    at_end = (at == 0) | (at == len(last) - 1)
    beside = (away < design.reach_mm) & ~(at_end & (cosine > _PAST) & (away > 1.0))
    runs = [run for run in np.split(np.arange(len(stations)), _turns(beside)) if beside[run[0]]]
    runs = [run for run in runs if len(run) >= _FEW]
    if not runs:
        raise DesignError(
            f"For '{design.name}' no edges of '{design.between[0]}' and '{design.between[1]}' lie "
            f"within {design.reach_mm:g} mm of each other.",
            "Give a place in the gap, or a larger reach_mm.",
        )
    run = min(runs, key=lambda one: float(np.linalg.norm(stations[one] - at_mm, axis=1).min()))
    starts, ends = stations[run], last[at[run]]
    share = np.linspace(0.0, 1.0, _ACROSS)[None, :, None]
    straight = (1.0 - share) * starts[:, None] + share * ends[:, None]
    rows = nearest_on_mesh(surface, straight.reshape(-1, 3))[0].reshape(straight.shape)
    rows[:, 0], rows[:, -1] = starts, ends
    apart = np.linalg.norm(ends - starts, axis=1)
    out = ends - starts
    # Where the edges touch, the way over the gap is square to the first plate's own edge.
    touch = apart < 1.0
    if touch.any():
        way = np.gradient(starts, axis=0)
        _, faces, _ = nearest_on_mesh(surface, starts)
        square = np.cross(unit_normals(surface, faces), way)
        inward = sheets[0].mesh.vertices.mean(axis=0) - starts
        square *= -np.sign(np.einsum("ni,ni->n", square, inward))[:, None]
        out = np.where(touch[:, None], square, out)
    _, faces, _ = nearest_on_mesh(surface, starts)
    outward = np.cross(out, np.gradient(starts, axis=0))
    if np.einsum("ni,ni->n", outward, unit_normals(surface, faces)).sum() < 0.0:
        rows, starts, ends, out = rows[::-1], starts[::-1], ends[::-1], out[::-1]
    return GapStrip(
        rows,
        _under(sheets[0], starts, -out, design.under_mm),
        _under(sheets[1], ends, out, design.under_mm),
    )


def lay_gusset(design: GussetDesign, strip: GapStrip, swept_mm: Floats | None) -> SoftPiece:
    """Return the piece that fills a gap, flat, with room for the motion.

    Parameters
    ----------
    swept_mm
        (N,) float mm: how wide each row of the gap gets at most; None where no joints turn.
    """
    grid = _grid(strip)
    rest = strip.widths_mm()
    fullness = np.zeros(len(rest))
    if swept_mm is not None:
        fullness = _evened(np.maximum(swept_mm - rest, 0.0))
    flat, upright, shown = _laid(design, grid)
    under = np.linalg.norm(strip.rows_mm[:, 0] - strip.first_under_mm, axis=1)
    arcs = np.linspace(0.0, 1.0, _COLUMNS)
    whole = np.linalg.norm(np.diff(grid, axis=1), axis=2).sum(axis=1)
    way = flat[:, -1] - flat[:, 0]
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    half = 0.5 * fullness[:, None] * way
    edges = []
    for share, moved in ((under / whole, -half), ((under + rest) / whole, half)):
        on = [
            [np.interp(part, arcs, row[:, k]) for k in range(2)]
            for part, row in zip(share, flat, strict=True)
        ]
        edges.append(np.array(on) + moved)
    ring = np.vstack([flat[:, 0] - half, (flat[:, -1] + half)[::-1]]) @ upright.T
    sewn = shapely.Polygon(ring).buffer(0)
    sewn = max(shapely.get_parts(sewn), key=lambda part: float(part.area))
    cut = sewn.buffer(design.seam_mm, join_style="mitre")
    seam = shapely.get_coordinates(sewn.exterior)
    first, last = design.between
    most = 0.0 if swept_mm is None else float(fullness.max())
    motion = (
        f"{most:.0f} mm of fullness for the motion: pleat it at rest"
        if most >= 1.0
        else "no fullness: the plates keep their distance"
    )
    words = (
        f"between '{first}' and '{last}' · cut 1 · {design.material} {design.thickness_mm:g} mm",
        "outer side shown",
        f"gap {rest.min():.0f} to {rest.max():.0f} mm · {motion}",
        f"under each plate {design.under_mm:g} mm · seam allowance {design.seam_mm:g} mm",
    )
    return soft_piece(
        design.name,
        design.material,
        design.thickness_mm,
        cut,
        holes_mm=np.zeros((0, 3)),
        lines=(
            (f"edge of '{first}'", edges[0] @ upright.T),
            (f"edge of '{last}'", edges[1] @ upright.T),
            *((("seam", seam),) if design.seam_mm > 0 else ()),
        ),
        words=words,
        shown=shown,
    )


def _laid(design: GussetDesign, grid: Floats) -> tuple[Floats, Floats, str]:
    """Return where the grid's places lie on the flat, the turn upright and what that points to."""
    mesh = _grid_mesh(grid)
    (loop,) = boundary_loops(mesh)
    soft = PatchDesign(
        design.name,
        (),
        design.at,
        material=design.material,
        thickness_mm=design.thickness_mm,
        forming="soft",
    )
    flat = flatten_patch(Patch(soft, mesh, ((PatchEdge("seam", np.append(loop, loop[0])),),)))
    points, faces, _ = nearest_on_mesh(flat.form, grid.reshape(-1, 3))
    laid = on_flat(flat.form, flat.flat_mm, points, faces).reshape(*grid.shape[:2], 2)
    way = way_up(flat.form, flat.flat_mm)
    upright = np.array([[way.direction[1], -way.direction[0]], way.direction])
    return laid, upright, "" if way.shown == "any" else way.shown


def _grid(strip: GapStrip) -> Floats:
    """(N, M, 3) float mm: each row from end to end under the plates, at even ways."""
    rows = np.concatenate(
        [strip.first_under_mm[:, None], strip.rows_mm, strip.last_under_mm[:, None]], axis=1
    )
    even = []
    for row in rows:
        arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(row, axis=0), axis=1))]
        at = np.linspace(0.0, arc[-1], _COLUMNS)
        even.append(np.stack([np.interp(at, arc, row[:, k]) for k in range(3)], axis=1))
    return np.array(even)


def _grid_mesh(grid: Floats) -> TriangleMesh:
    """Return a grid of places as a mesh, wound outward where its rows run so."""
    count, columns = grid.shape[:2]
    k = np.arange(count * columns).reshape(count, columns)
    a, b, c, d = (one.ravel() for one in (k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]))
    faces: Ints = np.vstack([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return TriangleMesh(grid.reshape(-1, 3), faces)


def _under(sheet: WornSheet, edge_mm: Floats, ways: Floats, by_mm: float) -> Floats:
    """(N, 3) float mm: places of a plate so far in from its edge, or as far as it goes."""
    start, faces, _ = nearest_on_mesh(sheet.mesh, edge_mm)
    unit = ways / np.maximum(np.linalg.norm(ways, axis=1, keepdims=True), 1e-300)
    # A hair inwards first: on the very border a walk may not find its triangle.
    inner = start + 1e-3 * (sheet.mesh.corners[faces].mean(axis=1) - start)
    return walk_straight(sheet.mesh, inner, faces, by_mm * unit).points_mm


def _even(line: Floats, step_mm: float) -> Floats:
    arc = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    at = np.linspace(0.0, arc[-1], max(int(np.ceil(arc[-1] / step_mm)), 2) + 1)
    return np.stack([np.interp(at, arc, line[:, k]) for k in range(3)], axis=1)


def _turns(mask: np.ndarray) -> Ints:
    turns: Ints = np.flatnonzero(np.diff(mask.astype(np.int64))) + 1
    return turns


def _evened(values: Floats) -> Floats:
    """(N,) float: no smaller anywhere, without jumps from row to row."""
    padded = np.pad(values, 2, mode="edge")
    most = np.max([padded[k : k + len(values)] for k in range(5)], axis=0)
    padded = np.pad(most, 2, mode="edge")
    mean: Floats = np.mean([padded[k : k + len(values)] for k in range(5)], axis=0)
    return np.maximum(mean, values)
