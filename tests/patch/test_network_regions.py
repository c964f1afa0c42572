"""Random networks of tape lines part a surface into just the regions that they draw.

What a network must give is known without cutting anything: on a closed surface without handles a
drawing of V points, E pieces of line and C connected parts leaves E - V + C + 1 regions (Euler).
On an open one its rims are part of the drawing, and each rim's outside is no region.
"""

from __future__ import annotations

from functools import lru_cache
from math import pi

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.body.body import Body
from fitkit.errors import DesignError, MeshError
from fitkit.geometry.arrays import Ints
from fitkit.geometry.geodesic import join_paths, shortest_legs
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.section import plane_sections
from fitkit.geometry.surface_cut import chain_keys, edge_keys
from fitkit.geometry.surface_path import SurfacePath
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.geometry.topology import boundary_loops, euler_characteristic
from fitkit.patch.cut_patches import cut_form
from fitkit.patch.design import PatchDesign, PointAnchor
from fitkit.patch.form import Form
from fitkit.patch.lined_form import LinedForm, line_the_form
from fitkit.patch.tape_line import TapeLine
from tests.body.stand_ins import bust
from tests.truth.mannequin import mannequin
from tests.truth.solids import sphere


@lru_cache(maxsize=3)
def surface(name: str) -> TriangleMesh:
    """Return a ball, the mannequin without arms grown on, or a bust open at its cut."""
    if name == "ball":
        return sphere(100.0, 14.0)
    if name == "body":
        return mannequin(16.0)
    mesh = bust()
    low = mesh.bounds_mm()[0, 2]
    open_mesh, _ = mesh.faces_only(mesh.corners[:, :, 2].max(axis=1) > low + 30.0)
    return open_mesh


def drawn_line(mesh: TriangleMesh, kind: str, numbers: list[float]) -> list[SurfacePath]:
    """Return a line that a list of numbers between 0 and 1 means on a mesh."""
    low, high = mesh.bounds_mm()
    if kind == "plane":
        normal = np.array([np.cos(pi * numbers[0]), np.sin(pi * numbers[1]), numbers[2] - 0.5])
        point = low + np.array(numbers[3:6]) * (high - low)
        return list(plane_sections(mesh, point, normal))[:1]
    count = {"leg": 2, "bent": 3, "loop": 3}[kind]
    faces = [int(number * (len(mesh.faces) - 1)) for number in numbers[:count]]
    points = [SurfacePoint(mesh.corners[face].mean(axis=0), face) for face in faces]
    try:
        legs = shortest_legs(mesh, points, closed=kind == "loop")
    except MeshError:  # two of the points are one
        return []
    return [join_paths(legs, closed=kind == "loop")]


LINES = st.lists(
    st.tuples(
        st.sampled_from(["plane", "plane", "leg", "bent", "loop"]),
        st.lists(st.floats(0.02, 0.98), min_size=6, max_size=6),
    ),
    min_size=1,
    max_size=30,
)
TRIED = settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def lined(mesh: TriangleMesh, drawn: list[tuple[str, list[float]]]) -> LinedForm:
    paths = [path for kind, numbers in drawn for path in drawn_line(mesh, kind, numbers)]
    return line_the_form(mesh, [TapeLine(f"line {i}", path) for i, path in enumerate(paths)])


def regions_implied(mesh: TriangleMesh, chains: list[Ints]) -> int:
    """Return E - V + C + 1 of the drawing, less one for each rim of the surface."""
    rims = [np.r_[loop, loop[0]] for loop in boundary_loops(mesh)]
    steps = [np.column_stack([chain[:-1], chain[1:]]) for chain in (*chains, *rims)]
    if not steps:
        return 1
    edges = np.unique(np.sort(np.vstack(steps), axis=1), axis=0)
    points, ends = np.unique(edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(points),) * 2)
    parts = connected_components(graph, directed=False)[0]
    return len(edges) - len(points) + parts + 1 - len(rims)


@pytest.mark.parametrize("name", ["ball", "body", "bust"])
@TRIED
@given(drawn=LINES)
def test_lines_part_the_surface_as_drawn(name: str, drawn: list[tuple[str, list[float]]]) -> None:
    """Area to 1e-9, the surface's own Euler count, and the regions that the drawing implies."""
    mesh = surface(name)
    cut = lined(mesh, drawn)
    assert cut.mesh.area_mm2() == pytest.approx(mesh.area_mm2(), rel=1e-9)
    assert euler_characteristic(cut.mesh) == euler_characteristic(mesh)
    assert cut.cells.max() + 1 == regions_implied(cut.mesh, list(cut.chains.values()))
    present = np.unique(edge_keys(cut.mesh))
    for chain in cut.chains.values():
        assert np.isin(chain_keys(cut.mesh, chain), present).all()
    per_source = np.bincount(cut.source_face, weights=cut.mesh.face_areas_mm2())
    assert per_source == pytest.approx(mesh.face_areas_mm2(), abs=1e-7)


@TRIED
@given(drawn=LINES)
def test_patches_share_their_seams_point_for_point(drawn: list[tuple[str, list[float]]]) -> None:
    """Every region of a ball cut as a patch: together they are the ball, and edges fit."""
    mesh = surface("ball")
    cut = lined(mesh, drawn)
    areas = cut.mesh.face_areas_mm2()
    designs = []
    for cell in range(int(cut.cells.max()) + 1):
        faces = np.flatnonzero(cut.cells == cell)
        biggest = faces[int(areas[faces].argmax())]
        if areas[biggest] < 0.5:
            continue  # no room for a place that is clear of all lines
        x, y, z = cut.mesh.corners[biggest].mean(axis=0)
        designs.append(PatchDesign(f"patch {cell}", (), PointAnchor(x, y, z)))
    form = Form(mesh, 0.0, Body(mesh, np.zeros(len(mesh.vertices))))
    paths = [path for kind, numbers in drawn for path in drawn_line(mesh, kind, numbers)]
    lines = [TapeLine(f"line {i}", path) for i, path in enumerate(paths)]
    if cut.cells.max() == 0:  # nothing is enclosed
        with pytest.raises(DesignError, match="no tape lines round it"):
            cut_form(form, lines, designs)
        return
    done = cut_form(form, lines, designs)
    patches = {patch.design.name: patch for patch in done.patches}
    shown = [int((done.patch_of_face == i).sum()) for i in range(len(designs))]
    for patch, faces in zip(done.patches, shown, strict=True):
        assert len(patch.mesh.faces) == faces
        for edge in (edge for loop in patch.loops for edge in loop):
            for first, last, name in edge.beside:
                seam = {tuple(p) for p in patch.mesh.vertices[edge.vertices[first : last + 1]]}
                other = {tuple(p) for p in patches[name].mesh.vertices}
                assert seam <= other
    whole = sum(patch.mesh.area_mm2() for patch in done.patches)
    skipped = mesh.area_mm2() - whole
    assert -1e-6 < skipped < 0.02 * mesh.area_mm2()
