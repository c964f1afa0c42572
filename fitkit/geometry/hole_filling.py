"""Closing a hole: with new triangles about as large as those round it, flat or smooth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, diags_array
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay, QhullError

from fitkit.geometry.arrays import Floats, Ints, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["FilledHole", "fill_hole"]

# Where the surface round an opening runs this steeply into its plane it was cut off there.
_CUT_OFF_COSINE = 0.6
_MOST_ROUNDS = 40


@dataclass(frozen=True, slots=True, eq=False)
class FilledHole:
    """What was filled: its middle (3,) float mm, its area, and whether it is a flat cut end."""

    centre_mm: Floats
    area_mm2: float
    flat: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_mm", frozen_floats(self.centre_mm, (3,), "centre_mm"))


def fill_hole(mesh: TriangleMesh, loop: Ints) -> tuple[TriangleMesh, FilledHole]:
    """Return the mesh with one of its border loops closed; vertices there keep their numbers.

    The filling is a disc of triangles about as large as the hole's edges are long. Where the
    surface round the hole runs on across it, the disc bends to meet it without a crease (it is
    biharmonic); where the body was cut off there, as at the end of a limb, it is drawn tight.

    Parameters
    ----------
    mesh
        Wound alike, at most two faces an edge.
    loop
        (N,) int: a border loop as :func:`fitkit.geometry.topology.boundary_loops` gives it.

    References
    ----------
    Liepa, *Filling holes in meshes*, SGP 2003 (the idea: triangulate, refine, then fair with the
    second-order umbrella operator); the disc here is laid out from the loop's lengths instead.
    """
    rim = mesh.vertices[loop]
    edge_mm = float(np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1).mean())
    inner, faces = _disc(rim, edge_mm)
    number = np.concatenate([loop, len(mesh.vertices) + np.arange(len(inner))])
    added = number[faces]
    filled = TriangleMesh(
        np.vstack([mesh.vertices, np.tile(rim.mean(axis=0), (len(inner), 1))]),
        np.vstack([mesh.faces, added]),
    )
    free = np.arange(len(mesh.vertices), len(filled.vertices))
    flat = _cut_off(mesh, loop)
    if len(free):
        filled = _faired(filled, added, free, order=1)
        if not flat:
            filled = _faired(filled, added, free, order=2)
    corners = filled.vertices[added]
    areas = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    centre = rim.mean(axis=0)
    return filled, FilledHole(centre, float(areas.sum()), flat)


def _disc(rim: Floats, edge_mm: float) -> tuple[Floats, Ints]:
    """Return inner points (K, 2) and faces over rim then inner points, wound to fit the rim.

    The rim is laid round a circle by its lengths; inner points stand on rings within. The faces
    run so that each rim edge is taken against the border's own sense.
    """
    count = len(rim)
    lengths = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    lengths = np.maximum(lengths, 1e-3 * max(float(lengths.mean()), 1e-12))
    turn = 2 * np.pi * np.concatenate([[0.0], np.cumsum(lengths)[:-1]]) / lengths.sum()
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    if count == 3:
        return np.zeros((0, 2)), np.array([[0, 2, 1]])
    radius_mm = lengths.sum() / (2 * np.pi)
    rings = int(np.clip(round(radius_mm / edge_mm), 1, _MOST_ROUNDS))
    points = [np.zeros((1, 2))]
    for ring in range(1, rings):
        share = ring / rings
        on_ring = max(6, round(count * share))
        angle = 2 * np.pi * (np.arange(on_ring) + 0.5 * (ring % 2)) / on_ring
        points.append(share * np.column_stack([np.cos(angle), np.sin(angle)]))
    inner = np.vstack(points)
    try:
        faces = Delaunay(np.vstack([circle, inner])).simplices.astype(np.int64)
    except QhullError:
        faces = np.zeros((0, 3), dtype=np.int64)
    if not _is_clean_disc(faces, count, len(inner)):
        inner = np.zeros((1, 2))
        ahead = (np.arange(count) + 1) % count
        faces = np.stack([np.arange(count), ahead, np.full(count, count)], axis=1)
    flat = np.vstack([circle, inner])
    a, b, c = np.moveaxis(flat[faces], 1, 0)
    left = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] > 0
    # The border has the mesh on its left; the filling lies on its right.
    return inner, np.where(left[:, np.newaxis], faces[:, ::-1], faces)


def _is_clean_disc(faces: Ints, rim: int, inner: int) -> bool:
    """Tell whether the border is the rim and no edge runs straight from rim to rim.

    Such a chord could be an edge of the mesh already.
    """
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    both = high < rim
    step = (high - low)[both]
    on_rim = (step == 1) | (step == rim - 1)
    return (
        len(faces) == rim + 2 * inner - 2
        and len(np.unique(faces)) == rim + inner
        and bool(on_rim.all())
        and int(on_rim.sum()) == rim
    )


def _cut_off(mesh: TriangleMesh, loop: Ints) -> bool:
    """Tell whether the surface round a loop runs steeply into the loop's plane."""
    rim = mesh.vertices[loop]
    ahead = np.roll(rim, -1, axis=0)
    # Twice the loop's area as a vector: its plane's normal, however it is bent.
    normal = np.cross(rim - rim.mean(axis=0), ahead - rim.mean(axis=0)).sum(axis=0)
    length = float(np.linalg.norm(normal))
    if not length > 0:
        return False
    start, end = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    key = start * len(mesh.vertices) + end
    wanted = loop * len(mesh.vertices) + np.roll(loop, -1)
    touching = np.flatnonzero(np.isin(key, wanted)) // 3
    scaled = mesh.face_normals_scaled()[touching]
    unit = scaled / np.maximum(np.linalg.norm(scaled, axis=1, keepdims=True), 1e-300)
    return float(np.median(np.abs(unit @ normal) / length)) < _CUT_OFF_COSINE


def _faired(mesh: TriangleMesh, added: Ints, free: Ints, *, order: int) -> TriangleMesh:
    """Move the free vertices to where the umbrella operator, once or twice over, is nothing."""
    # What the second order needs of the surface round the hole: two rings of it.
    near = np.unique(added)
    touched = np.isin(mesh.faces, near).any(axis=1)
    touched = np.isin(mesh.faces, np.unique(mesh.faces[touched])).any(axis=1)
    part, used = mesh.faces_only(np.flatnonzero(touched))
    adjacency = csr_array(vertex_adjacency(part))
    degree = np.maximum(np.asarray(adjacency.sum(axis=1)).ravel(), 1.0)
    umbrella = csr_array(diags_array(1.0 / degree) @ adjacency - diags_array(np.ones(len(used))))
    operator = umbrella if order == 1 else csr_array(umbrella @ umbrella)
    moving = np.isin(used, free)
    rows = operator[np.flatnonzero(moving)]
    matrix = rows[:, np.flatnonzero(moving)].tocsc()
    known = rows[:, np.flatnonzero(~moving)] @ part.vertices[~moving]
    points = mesh.vertices.copy()
    points[used[moving]] = splu(matrix).solve(-known)
    return mesh.with_vertices(points)
