from __future__ import annotations

import numpy as np
import pytest

from fitkit.body.body_of_scan import body_of_scan
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras
from fitkit.findings import Severity
from tests.body.stand_ins import bust

MESH = bust()


def scan_unseen(unseen: np.ndarray) -> Scan:
    distance = np.where(unseen, 40.0, 1.0)
    cloud, normals = MESH.vertices[~unseen], MESH.vertex_normals()[~unseen]
    return Scan(
        SolvedCameras((), (), 0.2, 0.0003),
        CaptureVolume(0.0, 0.0, 400.0, 880.0, 1500.0),
        cloud,
        normals,
        MESH,
        distance,
    )


def test_a_scan_becomes_a_body_with_its_trust() -> None:
    body = body_of_scan(scan_unseen(MESH.vertices[:, 1] > 1e9))
    assert np.array_equal(body.trust_mm, np.full(len(MESH.vertices), 1.0))
    assert body.mesh.volume_mm3() == pytest.approx(MESH.volume_mm3())
    assert [f for f in body.findings if f.code == "body-unseen"] == []


def test_a_large_unseen_area_is_named_with_its_place_and_size() -> None:
    """The left half of the back between 1000 and 1200 mm, a good 250 cm2."""
    x, y, z = MESH.vertices.T
    hole = (x > 30) & (y > 30) & (z > 1000) & (z < 1200)
    body = body_of_scan(scan_unseen(hole))
    (finding,) = [f for f in body.findings if f.code == "body-unseen"]
    assert finding.severity is Severity.WARNING
    assert finding.where.startswith("left back")
    inside = hole[MESH.faces].all(axis=1)
    assert finding.number == pytest.approx(MESH.face_areas_mm2()[inside].sum() / 100)
    assert finding.remedy


def test_a_stand_ins_cut_end_is_only_a_note() -> None:
    body = body_of_scan(scan_unseen(MESH.vertices[:, 2] < 901))
    (finding,) = [f for f in body.findings if f.code == "body-unseen"]
    assert finding.severity is Severity.NOTE
    assert "underside" in finding.where


def test_small_gaps_are_not_worth_a_word() -> None:
    gap = np.linalg.norm(MESH.vertices - MESH.vertices[500], axis=1) < 15
    assert gap.any()
    assert [f for f in body_of_scan(scan_unseen(gap)).findings if f.code == "body-unseen"] == []
