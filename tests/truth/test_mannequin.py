from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from fitkit.geometry.mesh import TriangleMesh
from tests.truth.mannequin import (
    GIRTHS,
    mannequin,
    mannequin_girths_mm,
    stand_parts,
    taut_girth_mm,
    turned_solid,
)

# ANSUR II (Gordon et al. 2014, NATICK/TR-15/007), computed from the public individual data:
# from the women's 5th to the men's 95th percentile, mm.
ANSUR_II_MM = {
    "neck": (302.0, 443.0),
    "chest": (824.0, 1207.0),
    "waist": (710.0, 1131.0),
    "hip": (899.0, 1156.0),
}


def _edge_uses(mesh: TriangleMesh) -> np.ndarray:
    faces = mesh.faces
    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    _, uses = np.unique(np.sort(edges, axis=1), axis=0, return_counts=True)
    return uses


def test_mannequin_is_closed_wound_outward_and_one_sphere_topologically() -> None:
    mesh = mannequin()
    uses = _edge_uses(mesh)
    assert (uses == 2).all()
    assert len(mesh.vertices) - len(uses) + len(mesh.faces) == 2
    # a person of 41 litres without head, forearms and legs; water is 1 kg per litre
    assert 35e6 < mesh.volume_mm3() < 47e6


def test_every_vertex_has_its_exact_mirror_image() -> None:
    vertices = mannequin().vertices
    distance, twin = cKDTree(vertices).query(vertices * np.array([-1.0, 1.0, 1.0]))
    assert distance.max() < 1e-6
    assert len(np.unique(twin)) == len(vertices)


def test_mesh_is_even_enough_to_stand_for_a_smooth_surface() -> None:
    mesh = mannequin()
    assert 30_000 < len(mesh.faces) < 100_000
    edges = np.linalg.norm(mesh.corners - np.roll(mesh.corners, 1, axis=1), axis=2)
    assert np.median(edges) < 5.0
    assert edges.min() > 1.0
    assert edges.max() < 9.0


@pytest.mark.parametrize("name", sorted(ANSUR_II_MM))
def test_girths_are_those_of_a_person_in_the_army_survey(name: str) -> None:
    low, high = ANSUR_II_MM[name]
    assert low < mannequin_girths_mm()[name] < high


def test_upper_arm_is_below_the_flexed_biceps_of_the_army_survey() -> None:
    """ANSUR II measures the biceps flexed: 259 (women p5) to 418 mm (men p95)."""
    girths = mannequin_girths_mm()
    assert 240.0 < girths["left upper arm"] < 400.0
    assert girths["left upper arm"] == pytest.approx(girths["right upper arm"], abs=1e-6)


def test_torso_is_wider_than_deep_and_waisted() -> None:
    mesh = mannequin()
    breadth, depth = {}, {}
    for name in ("chest", "waist", "hip"):
        level = GIRTHS[name][0][2]
        near = mesh.vertices[np.abs(mesh.vertices[:, 2] - level) < 3.0]
        # the arms are beyond 183 mm at the chest's level, the hips within 182 mm
        trunk = near[np.abs(near[:, 0]) < 182.0]
        breadth[name], depth[name] = np.ptp(trunk[:, 0]), np.ptp(trunk[:, 1])
        assert 1.2 < breadth[name] / depth[name] < 1.7
    assert breadth["waist"] < breadth["chest"] < breadth["hip"]
    assert depth["waist"] < depth["chest"]


def test_arm_hangs_clear_of_the_trunk_by_40_mm_at_its_cut() -> None:
    mesh = mannequin()
    arm = mesh.vertices[(mesh.vertices[:, 0] > 215.0) & (mesh.vertices[:, 2] < 1170.0)]
    level = arm[:, 2].min()
    near = np.abs(mesh.vertices[:, 2] - level) < 6.0
    trunk = mesh.vertices[near & (np.abs(mesh.vertices[:, 0]) < 200.0), 0].max()
    assert arm[:, 0].min() - trunk > 40.0


def test_taut_girth_of_a_cylinder_is_its_circumference_also_in_a_tilted_plane() -> None:
    """Circle; a plane tilted by t cuts an ellipse of half axes r and r / cos t."""
    tube = turned_solid([(50.0, -300.0), (50.0, 300.0)], sides=720)
    origin = np.array([0.0, 0.0, 1.234])
    assert taut_girth_mm(tube, origin, np.array([0.0, 0.0, 1.0])) == pytest.approx(
        2 * np.pi * 50.0, abs=0.01
    )
    tilt = np.radians(30.0)
    t = np.linspace(0.0, 2 * np.pi, 200_001)
    ellipse = np.stack([50.0 * np.cos(t), 50.0 / np.cos(tilt) * np.sin(t)])
    expected = np.linalg.norm(np.diff(ellipse, axis=1), axis=0).sum()
    normal = np.array([0.0, -np.sin(tilt), np.cos(tilt)])
    assert taut_girth_mm(tube, origin, normal) == pytest.approx(expected, abs=0.02)


def test_stand_is_closed_and_stays_below_the_cut() -> None:
    for part in stand_parts():
        assert (_edge_uses(part) == 2).all()
        assert part.volume_mm3() > 0
        assert part.vertices[:, 2].min() >= 0.0
        assert part.vertices[:, 2].max() < 790.0
