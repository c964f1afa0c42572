"""From a surface as it came to one that is closed and wound outward, a finding for each repair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fitkit.errors import MeshError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats, Ints, frozen_floats
from fitkit.geometry.hole_filling import FilledHole, fill_hole
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.overlapping_shells import joined_shells
from fitkit.geometry.self_overlap import reskinned_overlaps
from fitkit.geometry.topology import boundary_loops, components, is_closed

__all__ = ["RepairedMesh", "repair_mesh"]

# Corners nearer than this share of the whole are one; single precision carries about 1e-7.
_SAME_PLACE = 2e-7
_CRUMB_AREA = 0.02
_MOSTLY_OPEN = 0.25
_LARGE_HOLE_MM2 = 2500.0
_MOST_NAMED = 6
_MOVED_MM = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class RepairedMesh:
    """A closed surface and what was done to it.

    Attributes
    ----------
    mesh
        Closed, wound outward.
    filled_mm
        (V,) float mm: how far each vertex lies from the surface as it came; 0 off the filled holes.
    findings
        One for each kind of repair, and one for each of the larger holes.
    """

    mesh: TriangleMesh
    filled_mm: Floats
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        filled = frozen_floats(self.filled_mm, (len(self.mesh.vertices),), "filled_mm")
        object.__setattr__(self, "filled_mm", filled)


def repair_mesh(mesh: TriangleMesh) -> RepairedMesh:
    """Return one closed surface, wound outward, made of a mesh with the usual damage.

    Corners at the same place are joined, faces without area and double faces dropped; where
    more than two faces meet along an edge the lesser parts are cut loose; faces are turned to
    agree with their neighbours; holes are filled, smoothly where the surface goes on over them
    and flat where it was cut off; pieces that overlap are united, those apart or inside dropped;
    where the surface passes through itself it gets one skin. The surface that stays is not moved.

    Parameters
    ----------
    mesh
        Millimetres.

    Raises
    ------
    MeshError
        When no surface is left, or it is one-sided.
    """
    findings: list[Finding] = []
    mesh = _joined(mesh, findings)
    mesh = _cut_loose(mesh, findings)
    mesh = _wound_alike(mesh, findings)
    mesh = _without_flakes(mesh, findings)
    mesh, filled_mm = _closed(mesh, findings)
    if mesh.volume_mm3() < 0:
        mesh = TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])
        findings.append(
            _told("mesh-inside-out", "The surface was inside out; all its faces were turned over.")
        )
    came, came_filled_mm = mesh, filled_mm
    mesh = _one_shell(mesh, findings)
    mesh = _untangled(mesh, findings)
    if mesh is not came:
        filled_mm = _carried(came, came_filled_mm, mesh)
    if not is_closed(mesh) or not mesh.volume_mm3() > 0:
        raise MeshError(
            "The surface cannot be made into a closed body.",
            "Repair it in the program that made it: one surface, without holes.",
        )
    return RepairedMesh(mesh, filled_mm, tuple(findings))


def _told(code: str, message: str, *, number: float | None = None, unit: str = "") -> Finding:
    return Finding(code, Severity.NOTE, "mesh", message, number=number, unit=unit)


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _joined(mesh: TriangleMesh, findings: list[Finding]) -> TriangleMesh:
    """Join corners at one place; drop faces that lose a corner, and all but one of equal faces."""
    mesh = mesh.faces_only(np.arange(len(mesh.faces)))[0]
    size = float(np.ptp(mesh.vertices, axis=0).max()) if len(mesh.vertices) else 0.0
    pairs = cKDTree(mesh.vertices).query_pairs(_SAME_PLACE * size, output_type="ndarray")
    count = len(mesh.vertices)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    number, label = connected_components(graph, directed=False)
    first = np.zeros(number, dtype=np.int64)
    first[label[::-1]] = np.arange(count)[::-1]
    faces = label[mesh.faces].astype(np.int64)
    whole = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    _, kept = np.unique(np.sort(faces[whole], axis=1), axis=0, return_index=True)
    kept = np.flatnonzero(whole)[np.sort(kept)]
    if len(kept) < 4:
        raise MeshError("The mesh has no surface.", "Give a mesh with faces that have an area.")
    if number < count:
        joined = _count(count - number, "corner was", "corners were")
        findings.append(
            _told("mesh-joined", f"{joined} joined to another at the same place.",
                  number=count - number)
        )  # fmt: skip
    dropped = len(faces) - len(kept)
    if dropped:
        words = _count(dropped, "face that had no area or lay", "faces that had no area or lay")
        findings.append(
            _told("mesh-faces-dropped", f"{words} on another was dropped." if dropped == 1 else
                  f"{words} on others were dropped.", number=dropped)
        )  # fmt: skip
    return TriangleMesh(mesh.vertices[first], faces).faces_only(kept)[0]


def _edge_groups(faces: Ints, vertex_count: int) -> tuple[Ints, Ints, Ints]:
    """Return half-edges ordered by edge, where each edge's group starts, and its size."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    keys = np.minimum(start, end) * vertex_count + np.maximum(start, end)
    order = np.argsort(keys, kind="stable")
    _, begins, sizes = np.unique(keys[order], return_index=True, return_counts=True)
    return order, begins, sizes


def _cut_loose(mesh: TriangleMesh, findings: list[Finding]) -> TriangleMesh:
    """Let at most two faces meet along an edge, and the faces round a vertex form one fan.

    Of three or more faces along an edge, two of the largest part stay joined; the others
    get corners of their own.
    """
    order, begins, sizes = _edge_groups(mesh.faces, len(mesh.vertices))
    two = begins[sizes == 2]
    pairs = np.stack([order[two], order[two + 1]], axis=1)
    crowded = np.flatnonzero(sizes > 2)
    if len(crowded):
        part, areas = _parts(pairs, mesh)
        extra = []
        for group in crowded.tolist():
            halves = order[begins[group] : begins[group] + sizes[group]]
            # The largest part that comes to this edge with two faces goes on over it.
            of_part = part[halves // 3]
            for owner in sorted(set(of_part.tolist()), key=lambda k: -areas[k]):
                own = halves[of_part == owner]
                if len(own) == 2:
                    extra.append(own)
                    break
            else:
                best = np.argsort(-areas[of_part], kind="stable")[:2]
                extra.append(halves[best])
        pairs = np.vstack([pairs, *[pair[np.newaxis] for pair in extra]])
        findings.append(
            _told(
                "mesh-edges-crowded",
                f"More than two faces met along {_count(len(crowded), 'edge', 'edges')}; "
                "the lesser parts were cut loose there.",
                number=len(crowded),
            )
        )
    # Corners are one vertex where their faces are joined along an edge through it.
    faces = mesh.faces
    one, other = pairs.T
    ends, other_ends = (np.stack([h, h // 3 * 3 + (h % 3 + 1) % 3]) for h in (one, other))
    same_way = faces.ravel()[one] == faces.ravel()[other]
    partners = np.where(same_way, other_ends, other_ends[::-1])
    link = np.stack([ends.ravel(), partners.ravel()], axis=1)
    count = faces.size
    graph = coo_array((np.ones(len(link)), (link[:, 0], link[:, 1])), shape=(count, count))
    number, label = connected_components(graph, directed=False)
    first = np.zeros(number, dtype=np.int64)
    first[label[::-1]] = np.arange(count)[::-1]
    pinched = number - len(np.unique(faces))
    if pinched and not len(crowded):
        findings.append(
            _told(
                "mesh-pinched",
                f"The surface touched itself in {_count(pinched, 'point', 'points')}; "
                "it was parted there.",
                number=pinched,
            )
        )
    # New vertices stand in the order of the old ones, so that a sound mesh comes out as it was.
    old = faces.ravel()[first]
    by_old = np.argsort(old, kind="stable")
    rank = np.empty(number, dtype=np.int64)
    rank[by_old] = np.arange(number)
    return TriangleMesh(mesh.vertices[old[by_old]], rank[label].reshape(-1, 3))


def _parts(pairs: Ints, mesh: TriangleMesh) -> tuple[Ints, Floats]:
    """Return per face the part joined to it through the pairs, and every part's area."""
    count = len(mesh.faces)
    one, other = (pairs // 3).T
    graph = coo_array((np.ones(len(one)), (one, other)), shape=(count, count))
    _, found = connected_components(graph, directed=False)
    label: Ints = np.asarray(found, dtype=np.int64)
    return label, np.asarray(np.bincount(label, weights=mesh.face_areas_mm2()), dtype=np.float64)


def _wound_alike(mesh: TriangleMesh, findings: list[Finding]) -> TriangleMesh:
    """Turn faces over so that all of a piece are wound alike; the majority's way stays."""
    faces = mesh.faces
    order, begins, sizes = _edge_groups(faces, len(mesh.vertices))
    two = begins[sizes == 2]
    one, other = order[two], order[two + 1]
    against = faces.ravel()[one] == faces.ravel()[other]  # both run the same way: one is turned
    count = len(faces)
    # Every face twice, as it is and turned over; joined where the two go together.
    rows, columns = one // 3, other // 3
    flip = np.where(against, count, 0)
    graph = coo_array(
        (
            np.ones(2 * len(rows)),
            (
                np.concatenate([rows, rows + count]),
                np.concatenate([columns + flip, columns + count - flip]),
            ),
        ),
        shape=(2 * count, 2 * count),
    )
    _, label = connected_components(graph, directed=False)
    straight, turned = label[:count], label[count:]
    if (straight == turned).any():
        raise MeshError(
            "The surface has only one side.",
            "Repair it in the program that made it, or take a scan instead.",
        )
    # Per piece the copy that leaves more area as it is.
    area = np.bincount(straight, weights=mesh.face_areas_mm2(), minlength=int(label.max()) + 1)
    over: Bools = area[straight] < area[turned]
    tie = area[straight] == area[turned]
    over |= tie & (straight > turned)
    number = int(over.sum())
    if not number:
        return mesh
    words = _count(number, "face was", "faces were")
    findings.append(
        _told("mesh-faces-turned", f"{words} turned over to agree with their neighbours.",
              number=number)
    )  # fmt: skip
    return TriangleMesh(mesh.vertices, np.where(over[:, np.newaxis], faces[:, ::-1], faces))


def _without_flakes(mesh: TriangleMesh, findings: list[Finding]) -> TriangleMesh:
    """Drop pieces that are mostly open; those nearly closed may be parts of the body."""
    labels = components(mesh)
    areas = np.bincount(labels, weights=mesh.face_areas_mm2())
    if len(areas) == 1:
        return mesh
    of_vertex = np.zeros(len(mesh.vertices), dtype=np.int64)
    of_vertex[mesh.faces.ravel()] = np.repeat(labels, 3)
    opening = np.zeros(len(areas))
    for loop in boundary_loops(mesh):
        ring = mesh.vertices[loop]
        around = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum()
        opening[of_vertex[loop[0]]] += around**2 / (4 * np.pi)  # a round hole of that rim
    flake = opening > _MOSTLY_OPEN * areas
    flake[np.argmax(areas)] = False
    if not flake.any():
        return mesh
    findings.append(_pieces_finding(areas[flake].tolist(), float(areas.max())))
    return mesh.faces_only(~flake[labels])[0]


def _one_shell(mesh: TriangleMesh, findings: list[Finding]) -> TriangleMesh:
    """Unite shells that overlap, and drop those inside the body and those apart from it."""
    shells = joined_shells(mesh)
    if shells.united:
        findings.append(
            _told(
                "mesh-shells-united",
                f"{_count(shells.united, 'piece', 'pieces')} that overlapped the body "
                f"{'was' if shells.united == 1 else 'were'} united with it into one skin.",
                number=shells.united,
            )
        )
    if shells.inner:
        findings.append(
            _told(
                "mesh-inner-pieces",
                f"{_count(shells.inner, 'piece', 'pieces')} wholly inside the body "
                f"{'was' if shells.inner == 1 else 'were'} dropped.",
                number=shells.inner,
            )
        )
    if shells.apart_mm2:
        main = float(shells.mesh.face_areas_mm2().sum())
        findings.append(_pieces_finding(shells.apart_mm2, main))
    return shells.mesh


def _pieces_finding(areas_mm2: Sequence[float], main_mm2: float) -> Finding:
    largest = max(areas_mm2)
    grave = largest > _CRUMB_AREA * main_mm2
    words = _count(len(areas_mm2), "loose piece was", "loose pieces were")
    share = sum(areas_mm2) / (sum(areas_mm2) + main_mm2)
    return Finding(
        "mesh-pieces",
        Severity.WARNING if grave else Severity.NOTE,
        "mesh",
        f"{words} dropped, {100 * share:.1f} % of the surface; the largest has "
        f"{largest / 100:.0f} cm².",
        "If a part of the body is missing now, move the pieces together in the program that "
        "made them until they overlap."
        if grave
        else "",
        largest / 100,
        _CRUMB_AREA * main_mm2 / 100,
        "cm2",
    )


def _untangled(mesh: TriangleMesh, findings: list[Finding]) -> TriangleMesh:
    """Give a new skin to places where the surface passes through itself."""
    if not mesh.volume_mm3() > 0 or not is_closed(mesh):
        return mesh
    skin = reskinned_overlaps(mesh)
    for x, y, z in skin.places_mm.tolist():
        findings.append(
            Finding(
                "mesh-through-itself",
                Severity.NOTE,
                "mesh",
                f"The surface passed through itself about x {x:.0f}, y {y:.0f}, z {z:.0f}; "
                "what overlaps there, as fingers that touch, is one skin now.",
                "",
                skin.hidden_mm2 / 100,
                None,
                "cm2",
            )
        )
    return skin.mesh


def _carried(came: TriangleMesh, filled_mm: Floats, mesh: TriangleMesh) -> Floats:
    """Return how far each vertex of the new skin lies from what was there before any repair."""
    on, faces, off_mm = nearest_on_mesh(came, mesh.vertices)
    corners = came.faces[faces]
    near = np.linalg.norm(came.vertices[corners] - on[:, np.newaxis], axis=2).argmin(axis=1)
    carried: Floats = filled_mm[corners[np.arange(len(corners)), near]]
    moved: Floats = np.where(off_mm > _MOVED_MM, np.maximum(off_mm, carried), carried)
    return moved


def _closed(mesh: TriangleMesh, findings: list[Finding]) -> tuple[TriangleMesh, Floats]:
    """Fill every hole; return the mesh and per vertex the distance from what was there before."""
    loops = boundary_loops(mesh)
    distance = np.zeros(len(mesh.vertices))
    holes: list[FilledHole] = []
    for loop in loops:
        mesh, hole = fill_hole(mesh, loop)
        holes.append(hole)
        added = mesh.vertices[len(distance) :]
        rim = cKDTree(mesh.vertices[loop])
        distance = np.concatenate([distance, rim.query(added)[0] if len(added) else []])
    small = 0
    for hole in sorted(holes, key=lambda hole: -hole.area_mm2):
        if hole.area_mm2 < 0.1 * _LARGE_HOLE_MM2 or small >= _MOST_NAMED:
            continue
        small += 1
        findings.append(_hole_finding(hole))
    rest = len(holes) - small
    if rest:
        words = _count(rest, "small hole was", "small holes were")
        area = sum(sorted(hole.area_mm2 for hole in holes)[:rest])
        findings.append(
            _told("mesh-holes", f"{words} filled, {area / 100:.1f} cm² in all.",
                  number=area / 100, unit="cm2")
        )  # fmt: skip
    return mesh, distance


def _hole_finding(hole: FilledHole) -> Finding:
    x, y, z = hole.centre_mm.tolist()
    where = f"x {x:.0f}, y {y:.0f}, z {z:.0f}"
    grave = not hole.flat and hole.area_mm2 > _LARGE_HOLE_MM2
    message = (
        f"An open end of {hole.area_mm2 / 100:.0f} cm² was closed flat at {where}."
        if hole.flat
        else f"A hole of {hole.area_mm2 / 100:.0f} cm² was filled at {where}; what is there now "
        "is smooth guesswork."
    )
    return Finding(
        "mesh-end-closed" if hole.flat else "mesh-hole",
        Severity.WARNING if grave else Severity.NOTE,
        "mesh",
        message,
        "Keep plates off that area, or give a surface that covers it." if grave else "",
        hole.area_mm2 / 100,
        None if hole.flat else _LARGE_HOLE_MM2 / 100,
        "cm2",
    )
