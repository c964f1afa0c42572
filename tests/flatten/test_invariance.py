"""A blank hangs on its surface alone: not on where it lies, its size, its side or its numbering."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.patch import Patch
from tests.truth import solids


def corner_gaps(flat: FlatPatch, *, backwards: bool = False) -> Floats:
    """Distances between evenly spread points of the outline, edge by edge in the lines' order."""
    points = []
    for edge in sorted(flat.outline, key=lambda edge: edge.line):
        arc = edge.formed_arc_mm - edge.formed_arc_mm[0]
        at = np.linspace(0.0, arc[-1], 7)
        evenly = np.column_stack([np.interp(at, arc, edge.points_mm[:, k]) for k in (0, 1)])
        points.append(evenly[::-1] if backwards else evenly)
    cloud = np.concatenate(points)
    gaps: Floats = np.linalg.norm(cloud[:, None] - cloud[None], axis=2)
    return gaps


def plate(slivers: bool) -> TriangleMesh:
    """Return a lopsided piece of an ellipsoid, with a row of slivers along its border or not."""
    ball = solids.ellipsoid((90.0, 60.0, 110.0), 5.0)
    middles = ball.corners.mean(axis=1)
    keep = (middles[:, 1] < -20.0) & (middles[:, 2] > -40.0) & (middles[:, 0] > -45.0)
    mesh, _ = ball.faces_only(keep)
    if not slivers:
        return mesh
    rim = solids.border_rounds(mesh)[0]
    moved = mesh.vertices.copy()
    inner = np.setdiff1d(np.arange(len(moved)), rim)
    near = inner[np.linalg.norm(moved[inner][:, None] - moved[rim][None], axis=2).argmin(axis=0)]
    target = rim[np.linalg.norm(moved[near][:, None] - moved[rim][None], axis=2).argmin(axis=1)]
    moved[near] += 0.93 * (moved[target] - moved[near])
    return mesh.with_vertices(moved)


def quarter(middle: Floats) -> str:
    return "low" if middle[2] < 0.0 else "high"


def as_patch(mesh: TriangleMesh, moved: Floats, renumbered: bool, mirrored: bool) -> Patch:
    """Return the plate at other vertices, its lines named by where they were."""
    patch = solids.patch_of(mesh, lines=quarter, material="aluminium")
    order = np.arange(len(moved))
    if renumbered:
        order = np.random.default_rng(1).permutation(len(moved))
    new = np.argsort(order)
    faces = new[mesh.faces]
    if renumbered:
        faces = np.random.default_rng(2).permutation(np.roll(faces, 1, axis=1))
    faces = faces[:, ::-1] if mirrored else faces
    loops = []
    for loop in patch.loops:
        edges = []
        for edge in loop:
            chain, last = new[edge.vertices], len(edge.vertices) - 1
            meets = edge.neighbours
            if mirrored:
                chain = chain[::-1]
                meets = tuple(sorted((last - at, line) for at, line in meets))
            edges.append(type(edge)(edge.line, chain, meets))
        loops.append(tuple(edges[::-1] if mirrored else edges))
    return Patch(patch.design, TriangleMesh(moved[order], faces), tuple(loops))


@pytest.mark.parametrize("slivers", [False, True], ids=["as it is", "remeshed"])
def test_blank_is_the_same_to_0_01_mm_however_the_plate_is_put(slivers: bool) -> None:
    mesh = plate(slivers)
    v = mesh.vertices
    here = corner_gaps(flatten_patch(as_patch(mesh, v, False, False)))
    turn = Rotation.from_rotvec([0.6, -1.4, 1.3]).as_matrix()
    ways = {
        "moved": (v @ turn.T + [300.0, -800.0, 1200.0], False, False, 1.0),
        "renumbered": (v, True, False, 1.0),
        "mirrored": (v * [-1.0, 1.0, 1.0], False, True, 1.0),
        "twice as large": (2.0 * v, False, False, 2.0),
    }
    for name, (moved, renumbered, mirrored, scale) in ways.items():
        there = flatten_patch(as_patch(mesh, moved, renumbered, mirrored))
        off = np.abs(corner_gaps(there, backwards=mirrored) / scale - here).max()
        assert off < 0.01, name
