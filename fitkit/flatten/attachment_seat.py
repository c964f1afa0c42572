"""Where an attachment stands on a plate: its axes, and where its lines meet the plate's outside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.flatten.flat_patch import FlatMount
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import SurfaceRays, nearest_on_mesh
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = [
    "Foot",
    "PlateSeat",
    "Seat",
    "foot_of_lines",
    "holes_beside",
    "mount_findings",
    "plate_outside",
    "seat_of",
    "tab_middles",
    "upward_point",
]

# A tab is drawn over this share of its room at most.
_TAB_SHARE = 0.7
# A footprint whose steps grow by more than this between form and blank is parted there.
_TORN, _TORN_MM = 1.5, 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """The frame of an attachment.

    Attributes
    ----------
    at_mm
        (3,) float mm: where the axis meets the plate's outside.
    axis
        (3,) float, unit, outwards.
    ahead, aside
        (3,) float, unit: square to the axis and each other; ``ahead`` is the wearer's up turned by
        the design's turn, ``aside`` a quarter turn on counter-clockwise seen from outside.
    up
        (3,) float, unit: the wearer's up square to the axis.
    """

    at_mm: Floats
    axis: Floats
    ahead: Floats
    aside: Floats
    up: Floats

    def __post_init__(self) -> None:
        for name in ("at_mm", "axis", "ahead", "aside", "up"):
            object.__setattr__(self, name, frozen_floats(getattr(self, name), (3,), name))

    def around(self, angle_rad: Floats) -> Floats:
        """(N, 3) float, unit: directions square to the axis, counted from ``ahead``."""
        directions: Floats = (
            np.cos(angle_rad)[:, None] * self.ahead + np.sin(angle_rad)[:, None] * self.aside
        )
        return directions


@dataclass(frozen=True, slots=True, eq=False)
class Foot:
    """Where an attachment's lines meet the plate.

    Attributes
    ----------
    points_mm
        (N, 3) float mm, in order round the axis (counter-clockwise seen from outside) or along
        a fin, on the plate's outside.
    normals
        (N, 3) float, unit: of the plate there.
    """

    points_mm: Floats
    normals: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PlateSeat:
    """What an attachment asks of its plate.

    Attributes
    ----------
    name
        The attachment's.
    footprint_mm
        (N, 3) float mm: the closed line within which it stands.
    holes_mm
        (M, 3) float mm: where its tabs are bolted or riveted.
    hole_mm
        Their diameter.
    up_mm
        (3,) float mm: the place of the footprint that its own mark "up" meets.
    """

    name: str
    footprint_mm: Floats
    holes_mm: Floats
    hole_mm: float
    up_mm: Floats


def plate_outside(form: TriangleMesh, thickness_mm: float) -> TriangleMesh:
    """Return the outside of a plate the middle of whose sheet lies on a form."""
    if thickness_mm == 0.0:
        return form
    return form.with_vertices(form.vertices + 0.5 * thickness_mm * form.vertex_normals())


def seat_of(design: AttachmentDesign, outside: TriangleMesh, at_mm: Floats) -> Seat:
    """Return where an attachment stands.

    The plate's normal is the mean over the attachment's own breadth, so that bumps of a scan do
    not tip it.
    """
    point, face, _ = nearest_on_mesh(outside, np.asarray(at_mm, dtype=np.float64)[None])
    scaled = outside.face_normals_scaled()
    middle = outside.corners.mean(axis=1)
    own = scaled[face[0]] / np.linalg.norm(scaled[face[0]])
    near = (np.linalg.norm(middle - point[0], axis=1) < 0.5 * design.across_mm) & (
        scaled @ own > 0.0
    )
    normal = scaled[near].sum(axis=0) + scaled[face[0]]
    normal = normal / np.linalg.norm(normal)
    up = _square_to(np.array([0.0, 0.0, 1.0]), normal, np.array([0.0, -1.0, 0.0]))
    left = np.cross(normal, up)
    lean = np.cos(design.toward_rad) * up + np.sin(design.toward_rad) * left
    axis = np.cos(design.lean_rad) * normal + np.sin(design.lean_rad) * lean
    up = _square_to(up, axis, left)
    left = np.cross(axis, up)
    ahead = np.cos(design.turn_rad) * up + np.sin(design.turn_rad) * left
    return Seat(point[0], axis, ahead, np.cross(axis, ahead), up)


def _square_to(wanted: Floats, axis: Floats, otherwise: Floats) -> Floats:
    for way in (wanted, otherwise):
        square = way - (way @ axis) * axis
        if np.linalg.norm(square) > 0.05:
            unit: Floats = square / np.linalg.norm(square)
            return unit
    raise DesignError("An attachment has no direction to be turned from.", "Let it lean less.")


def foot_of_lines(
    design: AttachmentDesign, outside: TriangleMesh, starts_mm: Floats, ways: Floats
) -> Foot:
    """Return where straight lines from an attachment's top first meet the plate's outside.

    Raises
    ------
    DesignError
        When one misses the plate: the attachment hangs over its edge, or is too high or leans
        too far to reach it.
    """
    hits = SurfaceRays(outside).first_hit(starts_mm, ways)
    missed = hits.faces < 0
    if missed.any():
        raise DesignError(
            f"The {design.kind} '{design.name}' hangs over the edge of '{design.on}' on "
            f"{100.0 * missed.mean():.0f} % of its foot.",
            "Move it inwards, make it smaller, or let it lean less.",
        )
    scaled = outside.face_normals_scaled()[hits.faces]
    return Foot(hits.points_mm, scaled / np.linalg.norm(scaled, axis=1, keepdims=True))


def tab_middles(design: AttachmentDesign, corners_mm: Floats) -> tuple[Floats, float]:
    """Return where along a foot its tabs sit, as arc lengths, and how wide each is.

    Parameters
    ----------
    corners_mm
        (N,) float mm: along the foot, its ends and the corners that no tab may go round. Each
        side between them gets an equal share of the tabs, one at least.
    """
    if design.tabs == 0:
        return np.zeros(0), 0.0
    sides = len(corners_mm) - 1
    each = max(1, round(design.tabs / sides))
    pitch = np.diff(corners_mm) / each
    middles: Floats = (
        corners_mm[:-1, None] + (np.arange(each, dtype=np.float64) + 0.5) * pitch[:, None]
    ).ravel()
    return middles, min(_TAB_SHARE * float(pitch.min()), 2.0 * design.tab_mm)


def mount_findings(plate: str, mount: FlatMount, seat: PlateSeat) -> list[Finding]:
    """Say that an attachment stands across a relief cut or seam of its plate."""

    def steps(points: Floats) -> Floats:
        found: Floats = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
        return found

    formed, laid = steps(seat.footprint_mm), steps(mount.footprint_mm)
    if (laid < _TORN * formed + _TORN_MM).all():
        return []
    return [
        Finding(
            "stands-across-cut",
            Severity.WARNING,
            plate,
            f"'{mount.name}' stands across a cut or seam of it: its place is parted on the blank.",
            "Move it, or the cut; or drill its holes only when the cut is closed.",
        )
    ]


def holes_beside(
    outside: TriangleMesh,
    foot: Foot,
    arc_mm: Floats,
    at_arc_mm: Floats,
    away_mm: Floats,
    closed: bool,
) -> Floats:
    """(M, 3) float mm: places on the plate beside a foot.

    Parameters
    ----------
    arc_mm
        (N,) along the foot; ``at_arc_mm`` (M,) where on it; ``away_mm`` (M,) how far out, to the
        right of the way along it.
    closed
        Whether the foot goes round.
    """
    points, normals = foot.points_mm, foot.normals
    if len(at_arc_mm) == 0:
        return np.zeros((0, 3))
    at = np.stack([np.interp(at_arc_mm, arc_mm, points[:, k]) for k in range(3)], axis=1)
    n = np.stack([np.interp(at_arc_mm, arc_mm, normals[:, k]) for k in range(3)], axis=1)
    step = 0.5
    whole = float(arc_mm[-1])

    def place(arc: Floats) -> Floats:
        arc = arc % whole if closed else np.clip(arc, 0.0, whole)
        return np.stack([np.interp(arc, arc_mm, points[:, k]) for k in range(3)], axis=1)

    along = place(at_arc_mm + step) - place(at_arc_mm - step)
    out = np.cross(along, n)
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    found, _, _ = nearest_on_mesh(outside, at + away_mm[:, None] * out)
    return found


def upward_point(ways: Floats, seat: Seat) -> int:
    """Return which of (N, 3) ways from the seat points most nearly up the plate."""
    square = ways - (ways @ seat.axis)[:, None] * seat.axis
    unit = square / np.maximum(np.linalg.norm(square, axis=1, keepdims=True), 1e-300)
    return int(np.argmax(np.round(unit @ seat.up, 9)))
