"""Rivet holes: placed once on the seam in space, then mapped to both flats that meet there.

A lap lies on its neighbour. A rivet stands square to the seam, one edge distance into the
neighbour's surface; there it goes through the neighbour, and through the lap at the same
distance beyond the lap's own edge. Each flat gets the hole where that very point of the formed
plate lies on it, so that the holes meet whatever each blank stretches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.errors import InputError
from fitkit.findings import Finding, Severity
from fitkit.flatten.edge_names import edge_treatment, is_cut_edge, is_seam
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.formed_edges import formed_edges
from fitkit.geometry.arrays import Bools, Floats, frozen_floats
from fitkit.geometry.face_shares import face_shares
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.materials.rivet import Rivet, rivet_named
from fitkit.patch.design import EdgeTreatment
from fitkit.template.mirror import mirrored_name
from fitkit.template.rivet_row import spread_rivets_mm

__all__ = ["RivetHoles", "rivet_holes", "strap_width_mm"]

# Plates that meet at a seam may lie on forms with different room under them.
_BESIDE_MM = 30.0
_STATION_MM = 1.0
_SNAP_MM = 8.0
# Directions of a line are taken over this to both sides.
_REACH_MM = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class RivetHoles:
    """A row's holes in one blank.

    Attributes
    ----------
    patch, edge
        Which blank, and which of its edges in order round it.
    holes_mm
        (N, 2) float mm on the flat.
    formed_mm
        (N, 3) float mm: where they come to lie on the formed plates.
    rivet
        Which rivet.
    drill_mm
        Diameter to drill.
    grip_mm, length_mm
        Stack it closes, and its length as sold.
    later
        Whether the hole is only to be drilled through the other plate on assembly.
    joins
        The plate under the lap, for the row in the lap itself; empty for the plate's own row. A
        mirrored twin under it is named by what it mirrors.
    meets
        Material of the sheet that it is riveted to.
    """

    patch: str
    edge: int
    holes_mm: Floats
    formed_mm: Floats
    rivet: Rivet
    drill_mm: float
    grip_mm: float
    length_mm: float
    later: bool = False
    joins: str = ""
    meets: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "holes_mm", frozen_floats(self.holes_mm, (None, 2), "holes_mm"))
        object.__setattr__(self, "formed_mm", frozen_floats(self.formed_mm, (None, 3), "formed_mm"))

    def in_words(self) -> str:
        """As on the template: ``7 blind rivets 3.2 x 6, drill 3.3``."""
        count = len(self.holes_mm)
        many = f"{count} {self.rivet.noun}{'s' * (count > 1)}"
        size = self.rivet.size_in_words(self.length_mm)
        if self.later:
            return f"{many} {size}: drill {self.drill_mm:g} mm through the lap on assembly"
        return f"{many} {size}: drill {self.drill_mm:g} mm"


@dataclass(frozen=True, slots=True, eq=False)
class _Edge:
    """An edge on the flat and on the form, with the plate it belongs to.

    A ``twin`` is that of the mirrored plate: its ``formed_mm`` lies on the other side, its holes
    come by mirroring the drawn one.
    """

    flat: FlatPatch
    index: int
    line: str
    formed_mm: Floats
    twin: bool = False

    def arc_mm(self) -> Floats:
        """(N,): length along the edge on the form."""
        return _arcs(self.formed_mm)

    def on_middle(self) -> bool:
        """Whether the edge runs along the wearer's middle, where a plate meets its own twin."""
        return bool(np.abs(self.formed_mm[:, 0]).max() < 0.5 * _BESIDE_MM)

    def shared(self) -> bool:
        """Whether the plate has a twin, so that the two sides' rows must be mirror images."""
        return self.flat.design.paired


def rivet_holes(
    flats: Sequence[FlatPatch],
) -> tuple[tuple[RivetHoles, ...], tuple[Finding, ...]]:
    """Return the holes of every row of rivets in a job, and what stands in the way.

    A row belongs to the edge whose treatment names it; the plates that lie along the same line
    there are its neighbours, mirrored twins among them. Along a seam that opens one plate it joins
    that plate's two edges; along a relief cut it joins both its sides to a strap behind. A row
    between a paired plate and one in the middle is spread along the paired one's edge, so that both
    sides' rows are mirror images.

    Raises
    ------
    InputError
        When a rivet is not in the table or closes no such stack.
    """
    edges = [edge for flat in flats for edge in _edges_of(flat)]
    holes: list[RivetHoles] = []
    findings: list[Finding] = []
    joined: set[tuple[str, str]] = set()
    for lap in edges:
        design = lap.flat.design
        treatment = edge_treatment(design, lap.flat.outline[lap.index].line)
        if treatment.rivets is None or treatment.kind != "lap":
            continue
        again = (design.name, lap.line) in joined
        if lap.twin and (is_cut_edge(lap.line) or is_seam(lap.line)):
            continue
        if is_seam(lap.line) and again:
            continue
        joined.add((design.name, lap.line))
        try:
            if is_cut_edge(lap.line):
                made, found = _strap_row(lap, treatment)
                found = [] if again else found
            else:
                plates = [edge for edge in edges if _meet(lap, edge)]
                made, found = _joint(lap, plates, treatment)
        except InputError as error:
            raise InputError(
                f"{design.name}, rivets along '{lap.line}': {error.cause}", error.remedy
            ) from error
        holes += made
        if not lap.twin:
            findings += found
    return tuple(holes), tuple(findings)


def _edges_of(flat: FlatPatch) -> list[_Edge]:
    edges = [
        _Edge(flat, index, flat.outline[index].line, formed)
        for index, formed in enumerate(formed_edges(flat))
    ]
    if flat.design.paired:
        across = np.array([-1.0, 1.0, 1.0])
        edges += [
            _Edge(flat, edge.index, mirrored_name(edge.line), (edge.formed_mm * across)[::-1], True)
            for edge in edges
        ]
    return edges


def _meet(lap: _Edge, other: _Edge) -> bool:
    """Whether another edge may lie under a lap."""
    if lap.line != other.line:
        return False
    same = lap.flat is other.flat
    if is_seam(lap.line):
        return same and not other.twin and other.index != lap.index
    if same:
        # A plate and its own twin: on the middle line each one's lap lies on the other.
        return lap.twin != other.twin and lap.on_middle() and other.on_middle()
    # What two twins share is the mirror image of what the drawn ones do.
    return not (lap.twin and other.twin)


def _joint(
    lap: _Edge, plates: Sequence[_Edge], treatment: EdgeTreatment
) -> tuple[list[RivetHoles], list[Finding]]:
    row = treatment.rivets
    assert row is not None
    rivet = rivet_named(row.rivet)
    own = lap.flat.design
    pitch = row.pitch_mm or rivet.usual_pitch_mm
    width = treatment.size_mm or rivet.lap_mm
    inset = min(rivet.good_edge_mm, 0.5 * width)
    made: list[RivetHoles] = []
    for plate in plates:
        along_lap = lap.shared() and not plate.shared()
        leading, other = (lap, plate) if along_lap else (plate, lap)
        stretch = _shared_stretch(leading, other)
        if stretch is None:
            continue
        start, end = stretch
        at = start + spread_rivets_mm(end - start, ends_mm=rivet.good_edge_mm, pitch_mm=pitch)
        points = _at(leading.formed_mm, leading.arc_mm(), at)
        on_plate = _nearest_on_line(points, plate.formed_mm)[0]
        design = plate.flat.design
        grip = own.thickness_mm + design.thickness_mm
        facts = (rivet, rivet.hole_mm[0], grip, rivet.stock_length_for(grip))
        in_plate, formed = _into_plate(plate, on_plate, inset)
        if not lap.twin:
            in_lap = _into_lap(lap, points, inset)
            joined = design.name, design.material
            made.append(RivetHoles(own.name, lap.index, in_lap, formed, *facts, False, *joined))
        if not plate.twin:
            made.append(
                RivetHoles(
                    design.name,
                    plate.index,
                    in_plate,
                    formed,
                    *facts,
                    row.drill_later,
                    meets=own.material,
                )
            )
    sheets = [own.thickness_mm, *(plate.flat.design.thickness_mm for plate in plates)]
    findings = _rule_findings(own.name, lap.line, rivet, pitch, width, min(sheets))
    if not made and not lap.twin:
        findings.append(
            Finding(
                "rivets-no-neighbour",
                Severity.WARNING,
                own.name,
                f"No other plate lies along '{lap.line}' to rivet its lap to.",
                "Drill it on assembly, or take the rivets out.",
            )
        )
    return made, findings


def strap_width_mm(treatment: EdgeTreatment) -> float:
    """Return how wide the strap behind a riveted cut is: both rows' share of it."""
    assert treatment.rivets is not None
    return 2.0 * (treatment.size_mm or rivet_named(treatment.rivets.rivet).lap_mm)


def _strap_row(side: _Edge, treatment: EdgeTreatment) -> tuple[list[RivetHoles], list[Finding]]:
    """Return the holes along one side of a relief cut, to rivet it to a strap behind it.

    The strap is of the plate's own sheet. Both sides are as long as each other on the form, so that
    their holes stand opposite each other.
    """
    row = treatment.rivets
    assert row is not None
    rivet, design = rivet_named(row.rivet), side.flat.design
    pitch = row.pitch_mm or rivet.usual_pitch_mm
    width = 0.5 * strap_width_mm(treatment)
    arc = side.arc_mm()
    at = spread_rivets_mm(float(arc[-1]), ends_mm=rivet.good_edge_mm, pitch_mm=pitch)
    points = _at(side.formed_mm, arc, at)
    on_plate, formed = _into_plate(side, points, min(rivet.good_edge_mm, 0.5 * width))
    grip = 2.0 * design.thickness_mm
    facts = (rivet, rivet.hole_mm[0], grip, rivet.stock_length_for(grip))
    holes = RivetHoles(
        design.name, side.index, on_plate, formed, *facts, row.drill_later, meets=design.material
    )
    thickness = design.thickness_mm
    return [holes], _rule_findings(design.name, side.line, rivet, pitch, width, thickness)


def _shared_stretch(leading: _Edge, other: _Edge) -> tuple[float, float] | None:
    """Return from where to where along an edge the other lies beside it."""
    arc = leading.arc_mm()
    stations = np.linspace(0.0, arc[-1], max(2, round(arc[-1] / _STATION_MM) + 1))
    _, gap, past, _ = _nearest_on_line(_at(leading.formed_mm, arc, stations), other.formed_mm)
    places = np.flatnonzero((gap < _BESIDE_MM) & ~past)
    if len(places) < 3:
        return None
    start, end = float(stations[places[0]]), float(stations[places[-1]])
    # An edge that ends a little sooner for its own corner's sake is meant to end there too.
    start = 0.0 if start < _SNAP_MM else start
    end = float(arc[-1]) if end > arc[-1] - _SNAP_MM else end
    return start, end


def _into_plate(plate: _Edge, seam_mm: Floats, inset_mm: float) -> tuple[Floats, Floats]:
    """Return the holes in the plate under the lap: on its flat, and on its form.

    A twin's are worked out on the drawn plate and mirrored back.
    """
    across = np.array([-1.0, 1.0, 1.0]) if plate.twin else np.ones(3)
    own = seam_mm * across
    line = (plate.formed_mm * across)[::-1] if plate.twin else plate.formed_mm
    mesh = plate.flat.form
    formed, face, _ = nearest_on_mesh(mesh, own + inset_mm * _inward(mesh, line, own))
    shares = face_shares(mesh, formed, face)
    flat = np.einsum("nk,nkd->nd", shares, plate.flat.flat_mm[mesh.faces[face]])
    return flat, formed * across


def _into_lap(lap: _Edge, seam_mm: Floats, inset_mm: float) -> Floats:
    """Return the holes in the drawn plate's lap: beyond its own edge by as much."""
    at = _nearest_on_line(seam_mm, lap.formed_mm)[3]
    arc, points = lap.arc_mm(), lap.flat.outline[lap.index].points_mm
    ahead = _ahead(points, arc, at)
    # The blank lies on the left of its outline.
    outward = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    holes: Floats = _at(points, arc, at) + inset_mm * outward
    return holes


def _inward(mesh: TriangleMesh, line: Floats, points_mm: Floats) -> Floats:
    """(N, 3): along the plate's surface, square to its edge, into the plate."""
    ahead = _ahead(line, _arcs(line), _nearest_on_line(points_mm, line)[3])
    _, face, _ = nearest_on_mesh(mesh, points_mm)
    corners = mesh.vertices[mesh.faces[face]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = np.cross(normal, ahead)
    unit: Floats = inward / np.linalg.norm(inward, axis=1, keepdims=True)
    return unit


def _arcs(line: Floats) -> Floats:
    arcs: Floats = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    return arcs


def _at(points: Floats, arc: Floats, at_mm: Floats) -> Floats:
    return np.column_stack([np.interp(at_mm, arc, points[:, k]) for k in range(points.shape[1])])


def _ahead(points: Floats, arc: Floats, at_mm: Floats) -> Floats:
    """(N, D), unit: which way a line runs at places along it, over a few millimetres."""
    ahead = _at(points, arc, np.minimum(at_mm + _REACH_MM, arc[-1])) - _at(
        points, arc, np.maximum(at_mm - _REACH_MM, 0.0)
    )
    unit: Floats = ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-12)
    return unit


def _nearest_on_line(points: Floats, line: Floats) -> tuple[Floats, Floats, Bools, Floats]:
    """Return the nearest places of a line, their distance, whether past its ends, their arc."""
    start, step = line[:-1], np.diff(line, axis=0)
    length2 = np.maximum(np.sum(step * step, axis=1), 1e-18)
    share = np.einsum("nsk,sk->ns", points[:, None] - start[None], step) / length2
    inside = np.clip(share, 0.0, 1.0)
    feet = start[None] + inside[:, :, None] * step[None]
    gaps = np.linalg.norm(points[:, None] - feet, axis=2)
    best = gaps.argmin(axis=1)
    rows = np.arange(len(points))
    past = ((best == 0) & (share[rows, best] < -1e-6)) | (
        (best == len(step) - 1) & (share[rows, best] > 1 + 1e-6)
    )
    arc = _arcs(line)[best] + inside[rows, best] * np.sqrt(length2[best])
    return feet[rows, best], gaps[rows, best], past, arc


def _rule_findings(
    name: str, line: str, rivet: Rivet, pitch: float, width: float, thinnest: float
) -> list[Finding]:
    findings = []
    if rivet.countersunk and thinnest < rivet.head_mm:
        findings.append(
            Finding(
                "countersink-deep",
                Severity.WARNING,
                name,
                f"A countersunk {rivet.kind} {rivet.diameter_mm:g} mm rivet's head is "
                f"{rivet.head_mm:g} mm high; sheet {thinnest:g} mm thick along '{line}' would be "
                "cut through to a knife's edge.",
                "Dimple the sheet instead of countersinking it, or take rivets with a raised head.",
                number=thinnest,
                limit=rivet.head_mm,
                unit="mm",
            )
        )
    if width < 2.0 * rivet.least_edge_mm - 1e-9:
        findings.append(
            Finding(
                "lap-narrow",
                Severity.WARNING,
                name,
                f"The {width:g} mm lap along '{line}' leaves {0.5 * width:g} mm from hole to edge; "
                f"{rivet.name} mm {rivet.noun}s want {rivet.least_edge_mm:g} mm "
                f"(AC 43.13-1B: {rivet.least_edge_mm / rivet.diameter_mm:g} D).",
                f"Make it {rivet.lap_mm:g} mm wide, or take thinner rivets.",
                number=0.5 * width,
                limit=rivet.least_edge_mm,
                unit="mm",
            )
        )
    least, most = rivet.pitch_range_mm
    if not least <= pitch <= most:
        findings.append(
            Finding(
                "rivet-pitch",
                Severity.WARNING,
                name,
                f"A pitch of {pitch:g} mm along '{line}' is outside {least:g} to {most:g} mm "
                f"(3 to 10 D) for {rivet.name} mm {rivet.noun}s.",
                f"About {rivet.usual_pitch_mm:g} mm is usual.",
                number=pitch,
                limit=most if pitch > most else least,
                unit="mm",
            )
        )
    return findings
