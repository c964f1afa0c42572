"""Bridged surface is told apart by its cause."""

from __future__ import annotations

import numpy as np

from fitkit.capture.closed_surface import cut_to_volume, mesh_of_grid
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.surface_findings import few_pairs_finding, plain_regions, surface_findings
from fitkit.findings import Severity
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.textured_egg import VOLUME, egg_cameras, egg_mesh


def cut_egg() -> TriangleMesh:
    grid = signed_grid(egg_mesh(), cell_mm=8.0, margin_mm=24.0, flat_mm=VOLUME.bottom_mm)
    return mesh_of_grid(cut_to_volume(grid, VOLUME, carved=None))


def gap_in_front(mesh: TriangleMesh) -> np.ndarray:
    """Return distances as if nothing had been measured where y < -60 mm."""
    return np.where(mesh.vertices[:, 1] < -60.0, 40.0, 1.0)


def test_a_measured_surface_has_no_findings_and_the_cut_does_not_count() -> None:
    mesh = cut_egg()
    at_cut = mesh.vertices[:, 2] < VOLUME.bottom_mm + 0.05
    distance = np.where(at_cut, 60.0, 1.0)
    assert surface_findings(mesh, distance, VOLUME, egg_cameras()) == []


def test_a_gap_in_view_of_the_cameras_is_plain() -> None:
    mesh = cut_egg()
    found = surface_findings(mesh, gap_in_front(mesh), VOLUME, egg_cameras())
    assert [finding.code for finding in found] == ["plain-surface"]
    area = mesh.face_areas_mm2()
    front = area[(mesh.corners[:, :, 1] < -60.0).all(axis=1)].sum()
    assert found[0].number is not None
    assert 0.7 < found[0].number * area.sum() / front < 1.3
    assert found[0].severity is Severity.WARNING
    assert "(front)" in found[0].message
    assert "crosses of dark tape" in found[0].remedy


def test_a_gap_that_no_camera_faces_is_unseen() -> None:
    mesh = cut_egg()
    behind = [camera for camera in egg_cameras() if camera.centre_mm()[1] > 600.0]
    assert len(behind) >= 3
    found = surface_findings(mesh, gap_in_front(mesh), VOLUME, behind)
    assert [finding.code for finding in found] == ["unseen-surface"]
    assert "photos that look" in found[0].remedy


def test_regions_are_named_by_side_and_height() -> None:
    mesh = cut_egg()
    middle = mesh.corners.mean(axis=1)
    none = np.zeros(len(middle), dtype=np.bool_)
    high_back = (middle[:, 2] > 1000.0) & (middle[:, 1] > 45.0)
    assert plain_regions(mesh, high_back, none) == "back high"
    assert plain_regions(mesh, ~none, none) == "all round"
    assert plain_regions(mesh, none, none) == "in small places"


def test_few_pairs_say_how_many() -> None:
    finding = few_pairs_finding(5, 20, least=16.0)
    assert finding.message.startswith("Only 5 pairs of the 20 photos")
    assert (finding.number, finding.limit) == (5.0, 16.0)
