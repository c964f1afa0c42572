"""Emblems carried from the plate to its blank, against developments in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.laid_artwork import lay_artwork
from fitkit.geometry.arrays import Floats
from tests.template.parts import rectangle, vambrace
from tests.truth import solids

SQUARE = 15.0 * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]])


def corners(line: Floats) -> Floats:
    """Return the corners of the laid square: its points at the ends of each side."""
    at = np.linspace(0, len(line) - 1, 5).round().astype(int)
    return line[at]


def test_on_a_flat_plate_it_lies_true_to_size_place_and_turn() -> None:
    flat = rectangle(200.0, 120.0)
    middle = flat.form.vertices.mean(axis=0)
    laid = lay_artwork(flat, "crest", middle, [SQUARE], np.radians(30.0))
    (line,) = laid.lines_mm
    assert laid.findings == ()
    # Back in the wearer's upright: the first side runs 30 degrees up from level, to the right.
    upright = np.array([[flat.up[1], -flat.up[0]], [flat.up[0], flat.up[1]]])
    side = (corners(line)[1] - corners(line)[0]) @ upright.T
    assert np.linalg.norm(side) == pytest.approx(30.0, abs=1e-6)
    assert np.degrees(np.arctan2(side[1], side[0])) == pytest.approx(30.0, abs=1e-4)
    assert line[:-1].mean(axis=0) == pytest.approx(flat.flat_mm.mean(axis=0), abs=0.1)


def test_on_a_cylinder_it_unrolls_to_itself() -> None:
    """A cylinder keeps lengths when unrolled: every distance of the square stays (closed form)."""
    flat = flatten_patch(solids.patch_of(solids.cylinder_panel(60.0, 2.0, 120.0, 6.0)))
    middle = flat.form.vertices[np.argmin(np.linalg.norm(flat.flat_mm, axis=1))]
    (line,) = lay_artwork(flat, "crest", middle, [SQUARE]).lines_mm
    got = np.linalg.norm(corners(line)[:, None] - corners(line)[None], axis=2)
    true = np.linalg.norm(SQUARE[:, None] - SQUARE[None], axis=2)
    # The mesh's chords are short of the arc by (6 / 60)^2 / 24, 0.04 %.
    assert got == pytest.approx(true, abs=0.1)


def test_what_reaches_beyond_the_plate_is_left_out_and_told() -> None:
    flat = rectangle(200.0, 120.0)
    low, high = flat.form.vertices.min(axis=0), flat.form.vertices.max(axis=0)
    edge = np.array([low[0] + 5.0, low[1], 0.5 * (low[2] + high[2])])
    laid = lay_artwork(flat, "crest", edge, [SQUARE])
    assert [finding.code for finding in laid.findings] == ["artwork-beyond-edge"]
    for line in laid.lines_mm:
        assert (line >= flat.flat_mm.min(axis=0) - 1e-6).all()
        assert (line <= flat.flat_mm.max(axis=0) + 1e-6).all()


def test_it_does_not_run_over_a_sleeves_seam() -> None:
    flat = vambrace()
    seam = next(edge for edge in flat.outline if edge.line == "seam")
    at = flat.form.vertices[
        np.argmin(np.linalg.norm(flat.flat_mm - seam.points_mm[len(seam.points_mm) // 2], axis=1))
    ]
    laid = lay_artwork(flat, "crest", at, [SQUARE])
    assert laid.findings
    # Nothing leaps across the blank from one side of the seam to the other.
    assert all(np.linalg.norm(np.diff(line, axis=0), axis=1).max() < 4.0 for line in laid.lines_mm)
