"""How a strap lies: its line from plate to plate, its length, and what padding makes of that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats, Ints, frozen_floats
from fitkit.geometry.face_shares import face_shares
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.remembered import remembered
from fitkit.geometry.straight_walk import walk_straight
from fitkit.geometry.surface_path import SurfacePath
from fitkit.holding.worn_sheet import WornSheet

__all__ = ["StrapEnd", "StrapRun", "run_strap"]

_STEP_MM = 0.5
# Off the plates' edges a strap comes down to the body over this; common practice, no source.
_COMES_DOWN_MM = 30.0
# A fastening is sought inwards over so many times what it keeps from the edge.
_SEARCHED = 4.0
_INSET_SLACK_MM = 0.05
# A run's direction is taken over this: the first triangle may be a sliver.
_REACH_MM = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class StrapEnd:
    """Where a strap is to lie on a plate.

    Attributes
    ----------
    sheet
        The plate.
    at_mm
        (3,) float mm, on it.
    inset_mm
        What its fastening keeps from the plate's edge.
    seat_mm
        From that fastening on into the plate: the strap's length there.
    """

    sheet: WornSheet
    at_mm: Floats
    inset_mm: float
    seat_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_floats(self.at_mm, (3,), "at_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class StrapRun:
    """A strap's line.

    Attributes
    ----------
    points_mm, normals
        (N, 3) float mm and unit: its line on the form and on the plates, from its end on the first
        plate to its end on the last, with the outward normal there.
    arc_mm
        (N,) float mm: length along the middle of the strap's own thickness, 0 at the first plate's
        fastening nearest its edge.
    length_mm
        Thence to the last plate's fastening nearest its edge.
    edges_mm
        Where along it the first plate ends and the last begins.
    bare_change_mm
        What the length grows by when clothing, padding and air are taken away from under the
        plates; negative.
    """

    points_mm: Floats
    normals: Floats
    arc_mm: Floats
    length_mm: float
    edges_mm: tuple[float, float]
    bare_change_mm: float

    def __post_init__(self) -> None:
        for name in ("points_mm", "normals"):
            object.__setattr__(self, name, frozen_floats(getattr(self, name), (None, 3), name))
        arc = frozen_floats(self.arc_mm, (len(self.points_mm),), "arc_mm")
        object.__setattr__(self, "arc_mm", arc)

    def at(self, arc_mm: Floats | float) -> Floats:
        """(N, 3) float mm: places of the line at lengths along the strap."""
        return _between(np.atleast_1d(arc_mm), self.arc_mm, self.points_mm)

    def beside(self, arc_mm: Floats, aside_mm: Floats | float) -> Floats:
        """(N, 3) float mm: places so far to the left of the strap's middle, seen from outside."""
        ahead = self.at(arc_mm + _REACH_MM) - self.at(arc_mm - _REACH_MM)
        left = np.cross(_between(arc_mm, self.arc_mm, self.normals), ahead)
        left /= np.maximum(np.linalg.norm(left, axis=1, keepdims=True), 1e-300)
        places: Floats = self.at(arc_mm) + np.reshape(aside_mm, (-1, 1)) * left
        return places


def run_strap(
    name: str,
    surface: TriangleMesh,
    path: SurfacePath,
    first: StrapEnd,
    last: StrapEnd,
    *,
    thickness_mm: float,
    body: TriangleMesh,
    over_body: bool = False,
) -> StrapRun:
    """Return how a strap lies along a shortest line between its places on two plates.

    Parameters
    ----------
    name
        For messages.
    surface, path
        What it lies on between the plates, and its line there, from the first end's place to the
        last's.
    thickness_mm
        The strap's: a bent strap keeps its length in the middle of it.
    body
        The bare wearer.
    over_body
        Whether the surface is the body; else the form, which the middle of the plates' sheet
        follows.

    Raises
    ------
    DesignError
        When there is no room for its fastenings on a plate.

    Notes
    -----
    Bare, each plate sinks, stiff as it is, along its own mean normal until it touches the body; the
    strap's length changes by the first variation of its arc: the ends' moves along its own
    direction, and where it lies on the wearer between them the way it sinks times its curvature (M.
    P. do Carmo, *Differential Geometry of Curves and Surfaces*, 1976, section 5.4).
    """
    points, faces = _dense(path)
    arc = _arcs(points)
    edges = _edge_arcs(first.sheet, last.sheet, points, arc)
    normals = _normals(surface, points, faces)
    before = _onward(name, first, points[_reached(arc)] - points[0])
    after = _onward(name, last, points[::-1][_reached(arc[-1] - arc[::-1])] - points[-1])
    ends = -before[3], float(arc[-1]) + after[3]
    height = _heights(points, normals, arc, first, last, thickness_mm, over_body=over_body)
    whole = np.vstack([before[0][::-1], points, after[0]])
    whole_normals = np.vstack([before[1][::-1], normals, after[1]])
    heights = np.concatenate(
        [
            np.full(len(before[0]), 0.5 * (first.sheet.thickness_mm + thickness_mm)),
            height,
            np.full(len(after[0]), 0.5 * (last.sheet.thickness_mm + thickness_mm)),
        ]
    )
    along = np.concatenate([-before[2][::-1], arc, arc[-1] + after[2]])
    middle = whole + heights[:, None] * whole_normals
    strap = _arcs(middle)
    zero, end, leaves, enters = np.interp([*ends, *edges], along, strap)
    return StrapRun(
        whole,
        whole_normals,
        strap - zero,
        float(end - zero),
        (float(leaves - zero), float(enters - zero)),
        _bare_change(points, normals, arc, edges, first.sheet, last.sheet, body, over_body),
    )


def _edge_arcs(
    first: WornSheet, last: WornSheet, points: Floats, arc: Floats
) -> tuple[float, float]:
    """Return where a line leaves the first sheet and where it comes onto the last one."""
    off_first = np.flatnonzero(~first.holds(points))
    off_last = np.flatnonzero(~last.holds(points))
    leaves = arc[max(off_first[0] - 1, 0)] if len(off_first) else arc[-1]
    enters = arc[min(off_last[-1] + 1, len(arc) - 1)] if len(off_last) else arc[0]
    return float(leaves), float(enters)


def _reached(arc: Floats) -> int:
    """Return the first place that is far enough on to tell the direction by."""
    return min(int(np.searchsorted(arc, _REACH_MM)), len(arc) - 1)


def _onward(name: str, end: StrapEnd, ahead: Floats) -> tuple[Floats, Floats, Floats, float]:
    """Return how a strap's line goes on into a plate from its place there, up to the strap's end.

    Places, normals, lengths from the place, and at which length the fastening is: the first that
    keeps its inset from all of the plate's edge.
    """
    reach = _SEARCHED * end.inset_mm + end.seat_mm
    lengths = np.linspace(0.0, reach, int(np.ceil(reach / _STEP_MM)) + 1)
    start, face, _ = nearest_on_mesh(end.sheet.mesh, end.at_mm[None])
    back = -ahead / np.linalg.norm(ahead)
    walks = walk_straight(
        end.sheet.mesh,
        np.repeat(start, len(lengths), axis=0),
        np.repeat(face, len(lengths)),
        lengths[:, None] * back,
    )
    on = walks.whole & (lengths < np.append(lengths[~walks.whole], np.inf).min())
    room = float(lengths[on].max(initial=0.0))
    clear = on & (end.sheet.rim_mm(walks.points_mm) > end.inset_mm - _INSET_SLACK_MM)
    clear &= lengths <= room - end.seat_mm + _STEP_MM
    if not clear.any():
        raise DesignError(
            f"The strap '{name}' has no room on '{end.sheet.patch}': its fastening wants "
            f"{end.inset_mm:.0f} mm from the edge and {end.seat_mm:.0f} mm of plate behind it; "
            f"inwards from its place there are {room:.0f} mm.",
            "Move that place, take thinner rivets or a narrower strap, or a larger plate.",
        )
    fastened = float(lengths[int(clear.argmax())])
    own = (lengths > 0.0) & (lengths <= fastened + end.seat_mm + 0.5 * _STEP_MM) & on
    normals = _normals(end.sheet.mesh, walks.points_mm, walks.faces)
    return walks.points_mm[own], normals[own], lengths[own], fastened


def _heights(
    points: Floats,
    normals: Floats,
    arc: Floats,
    first: StrapEnd,
    last: StrapEnd,
    thickness_mm: float,
    *,
    over_body: bool,
) -> Floats:
    """(N,) float mm: how far the strap's middle stands off the surface it runs over."""
    plates = []
    for end, k in ((first, 0), (last, -1)):
        over = float((end.at_mm - points[k]) @ normals[k])
        plates.append(over + 0.5 * (end.sheet.thickness_mm + thickness_mm))
    share = arc / arc[-1]
    if not over_body:
        heights: Floats = (1.0 - share) * plates[0] + share * plates[1]
        return heights
    low = 0.5 * thickness_mm
    down: list[Floats] = [
        np.clip(1.0 - way / min(_COMES_DOWN_MM, 0.5 * arc[-1]), 0.0, 1.0)
        for way in (arc, arc[-1] - arc)
    ]
    over_skin: Floats = low + down[0] * (plates[0] - low) + down[1] * (plates[1] - low)
    return over_skin


def _bare_change(
    points: Floats,
    normals: Floats,
    arc: Floats,
    edges: tuple[float, float],
    first: WornSheet,
    last: WornSheet,
    body: TriangleMesh,
    over_body: bool,
) -> float:
    rooms = first.room_mm(body), last.room_mm(body)
    ways = [_way(points, arc, edges[0], 1.0), _way(points, arc, edges[1], -1.0)]
    change = rooms[0] * float(first.outward() @ ways[0]) + rooms[1] * float(
        last.outward() @ ways[1]
    )
    free = (arc[:-1] >= edges[0]) & (arc[1:] <= edges[1])
    if over_body or not free.any():
        return min(change, 0.0)
    steps = np.diff(points, axis=0)
    steps /= np.maximum(np.linalg.norm(steps, axis=1, keepdims=True), 1e-300)
    turned = np.einsum("ni,ni->n", np.diff(normals, axis=0), steps)
    share = arc[:-1] / arc[-1]
    sinks = (1.0 - share) * rooms[0] + share * rooms[1]
    return min(change - float((sinks * turned)[free].sum()), 0.0)


def _way(points: Floats, arc: Floats, at_mm: float, sense: float) -> Floats:
    """(3,) float, unit: which way the line goes on from a place of it."""
    ends = np.clip([at_mm, at_mm + sense * _REACH_MM], arc[0], arc[-1])
    if ends[0] == ends[1]:
        ends = np.array([at_mm - sense * _REACH_MM, at_mm])
    ahead: Floats = np.diff(_between(ends, arc, points), axis=0)[0]
    unit: Floats = ahead / max(float(np.linalg.norm(ahead)), 1e-300)
    return unit


def _dense(path: SurfacePath) -> tuple[Floats, Ints]:
    """Return places along a path half a millimetre apart, its own corners kept, and their faces."""
    corners = path.round_points_mm
    knots = _arcs(corners)
    even = np.linspace(0.0, knots[-1], max(int(np.ceil(knots[-1] / _STEP_MM)), 2) + 1)
    at = np.unique(np.concatenate([knots, even]))
    segment = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(path.faces) - 1)
    return _between(at, knots, corners), path.faces[segment]


def _normals(mesh: TriangleMesh, points: Floats, faces: Ints) -> Floats:
    """(N, 3) float, unit: normals of a mesh at places in its triangles, smooth over its edges."""
    shares = face_shares(mesh, points, faces)
    mixed = np.einsum("nk,nki->ni", shares, _vertex_normals(mesh)[mesh.faces[faces]])
    unit: Floats = mixed / np.maximum(np.linalg.norm(mixed, axis=1, keepdims=True), 1e-300)
    return unit


@remembered
def _vertex_normals(mesh: TriangleMesh) -> Floats:
    return mesh.vertex_normals()


def _arcs(line: Floats) -> Floats:
    arcs: Floats = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    return arcs


def _between(at: Floats, arc: Floats, values: Floats) -> Floats:
    return np.stack([np.interp(at, arc, values[:, k]) for k in range(values.shape[1])], axis=1)
