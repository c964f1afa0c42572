"""A level line is the very section that the tape measure takes, before it is pulled taut."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from fitkit.body.body import Body
from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.body.tape_measure import girth_at_mm
from fitkit.patch.design import LevelLine
from fitkit.patch.form import Form
from fitkit.patch.tape_line import lay_tape_line
from tests.truth.mannequin import mannequin


@pytest.fixture(scope="module")
def body() -> Body:
    return body_of_mesh(mannequin())


@pytest.mark.parametrize("height_mm", [860.0, 980.0, 1075.0, 1150.0])
def test_level_line_is_the_section_at_its_height(body: Body, height_mm: float) -> None:
    """The same plane cut by trimesh; the tape, taut over hollows, is never longer."""
    line = lay_tape_line(Form(body.mesh, 0.0, body), LevelLine("round", height_mm=height_mm))
    solid = trimesh.Trimesh(body.mesh.vertices, body.mesh.faces, process=False)
    loops = solid.section(np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, height_mm])).discrete
    lengths = [float(np.linalg.norm(np.diff(loop, axis=0), axis=1).sum()) for loop in loops]
    length = line.path.length_mm()
    assert min(abs(length - own) for own in lengths) < 1e-6 * length
    taut = girth_at_mm(body.mesh, [0.0, 0.0, height_mm], [0.0, 0.0, 1.0])
    assert taut <= length + 1e-3
    assert taut == pytest.approx(length, rel=0.02)
