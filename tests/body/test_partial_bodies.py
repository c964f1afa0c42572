"""Bodies of which there is only a part: no crash, one closed surface, and words for what lacks."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.stand_up import find_standing, stand_up
from fitkit.body.tape_measure import girth_at_mm, tape_measures
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import read_mesh
from fitkit.geometry.mesh_repair import repair_mesh
from tests.body.stand_ins import BUILDS, figure

REPOSITORY = Path(__file__).resolve().parents[2]
SHARED_DATA = Path(os.environ.get("FITKIT_SHARED_DATA", REPOSITORY.parent / "shared" / "data"))
LIMB = SHARED_DATA / "limb-mesh" / "mean_transtibial_skin_mm.stl"

PARTS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "lower leg": lambda p: (p[:, 0] > 30) & (p[:, 2] < 430),
    "arm": lambda p: p[:, 0] > 190,
    "head": lambda p: p[:, 2] > 1475,
    "bust": lambda p: (p[:, 2] > 1000) & (np.abs(p[:, 0]) < 250) & (p[:, 2] < 1500),
    "trunk and legs": lambda p: (p[:, 2] < 1150) & (np.abs(p[:, 0]) < 200),
}


def part(name: str) -> TriangleMesh:
    mesh = figure(BUILDS[0])
    keep = PARTS[name](mesh.corners.mean(axis=1))
    return mesh.faces_only(np.flatnonzero(keep))[0]


def body_of(mesh: TriangleMesh) -> tuple[Body, set[str]]:
    repaired = repair_mesh(mesh)
    body = body_of_mesh(repaired.mesh, trust_mm=repaired.filled_mm)
    codes = {finding.code for finding in (*repaired.findings, *body.findings)}
    return body, codes


@pytest.mark.parametrize(
    ("name", "told", "measured"),
    [
        ("lower leg", {"body-no-arms", "body-no-neck"}, set()),
        ("arm", {"body-no-arms"}, set()),
        ("head", {"body-no-arms"}, set()),
        ("bust", set(), {"neck", "chest", "waist"}),
        pytest.param(
            "trunk and legs",
            {"body-no-arms", "body-no-neck"},
            {"left thigh", "right calf", "left knee height", "crotch height"},
            marks=pytest.mark.slow,
        ),
    ],
)
def test_a_part_of_a_body_is_welcome(name: str, told: set[str], measured: set[str]) -> None:
    body, codes = body_of(part(name))
    assert codes >= told
    assert codes & {"mesh-end-closed", "mesh-hole"}, "where it was cut off is told"
    assert (body.trust_mm > 0).any()
    assert body.axis("trunk").length_mm > 150
    assert {measure.name for measure in tape_measures(body)} >= measured


@pytest.mark.skipif(not LIMB.is_file(), reason="the open limb mesh is not on this machine")
def test_a_measured_lower_leg_becomes_a_body_and_its_girths_hold_when_it_is_stood_up() -> None:
    """Open data: OpenLimb mean transtibial limb (CC BY-SA 4.0), open at the top."""
    body, codes = body_of(read_mesh(LIMB))
    assert codes >= {"mesh-end-closed", "mesh-faces-turned", "body-no-arms"}
    assert body.axis("trunk").length_mm == pytest.approx(257.1, abs=1)
    middle = body.axis("trunk").point_at_mm(0.3)
    girth = girth_at_mm(body.mesh, middle, [0, 0, 1])
    assert 330 < girth < 420, "below the knee, of the limb's own breadth of 128 by 135 mm"
    repaired = repair_mesh(read_mesh(LIMB)).mesh
    stood = stand_up(repaired, find_standing(repaired))
    assert np.ptp(stood.vertices[:, 2]) > 240
