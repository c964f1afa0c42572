"""Every step's value comes back from its files to the last bit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitkit.body.body import Body, Landmark, SegmentAxis
from fitkit.body.side import Side
from fitkit.capture.camera import Camera, Lens
from fitkit.capture.check_length import CheckedLength, CheckLength
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras, SolvedSheet
from fitkit.capture.tag_set import tag_set
from fitkit.drawing.drawing import Drawing, Fill, Hole, Layer, Stroke, TextAnchor, Words
from fitkit.errors import JobError
from fitkit.findings import Finding, Severity
from fitkit.flatten.flat_patch import FlatEdge, FlatLine, FlatPatch
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from fitkit.geometry.surface_path import SurfacePath
from fitkit.job.body_files import body_files, read_body
from fitkit.job.flat_patch_files import flat_patch_files, read_flat_patch
from fitkit.job.patch_files import patch_files, read_patch, read_tape_lines, tape_line_files
from fitkit.job.scan_files import read_scan, scan_files
from fitkit.job.template_files import read_template, template_file, template_stem
from fitkit.patch.design import HeightAnchor, PatchDesign
from fitkit.patch.patch import InnerLine, Patch, PatchEdge
from fitkit.patch.tape_line import TapeLine
from fitkit.template.template import Template

RANDOM = np.random.default_rng(7)
FINDINGS = (Finding("x", Severity.STOP, "here", "Ünsicher: 0.1 mm.", "Again.", 0.1, 0.3, "mm"),)
DESIGN = PatchDesign("Breast plate", ("a",), HeightAnchor(1000.0, 0.1))


def mesh(count: int = 30) -> TriangleMesh:
    return TriangleMesh(
        RANDOM.normal(size=(count, 3)) * 1000 / 3, RANDOM.integers(0, count, size=(2 * count, 3))
    )


def pose() -> RigidTransform:
    turn, _ = np.linalg.qr(RANDOM.normal(size=(3, 3)))
    return RigidTransform(turn * np.sign(np.linalg.det(turn)), RANDOM.normal(size=3) * 1000 / 7)


def write(folder: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def same(a: object, b: object) -> bool:
    """Compare values field by field; arrays must agree in type and in every bit."""
    if isinstance(a, np.ndarray):
        return isinstance(b, np.ndarray) and a.dtype == b.dtype and np.array_equal(a, b)
    if hasattr(a, "__dataclass_fields__"):
        return type(a) is type(b) and all(
            same(getattr(a, name), getattr(b, name)) for name in a.__dataclass_fields__
        )
    if isinstance(a, tuple):
        return isinstance(b, tuple) and len(a) == len(b) and all(map(same, a, b))
    if hasattr(a, "items"):
        return list(a) == list(b) and all(same(a[key], b[key]) for key in a)  # type: ignore[index, call-overload]
    return bool(a == b)


def test_scan(tmp_path: Path) -> None:
    surface = mesh()
    normals = RANDOM.normal(size=(50, 3))
    lens = Lens(1512, 2016, 1500 / 7, 755.5, 1007.5, 0.1 / 3, -0.2 / 3, 1e-3 / 3, -1e-3 / 7)
    scan = Scan(
        SolvedCameras(
            (Camera("IMG_1.jpg", lens, pose()), Camera("ü.jpg", lens, pose())),
            (SolvedSheet(3, pose()), SolvedSheet(3, pose(), tag_set("4x4_50", 24.0))),
            1 / 3,
            0.001 / 3,
            FINDINGS,
            (CheckedLength(CheckLength("1", "A3 2", 1840 / 3), 613.0 / 7, 0.001 / 3, True),),
        ),
        CaptureVolume(1 / 3, -2.5, 400.0, 700.0, 1700 / 3),
        RANDOM.normal(size=(50, 3)),
        normals / np.linalg.norm(normals, axis=1, keepdims=True),
        surface,
        np.abs(RANDOM.normal(size=len(surface.vertices))),
        FINDINGS,
    )
    assert same(read_scan(write(tmp_path, scan_files(scan))), scan)
    moved = replace(scan, cloud_mm=scan.cloud_mm + 1e-12)
    assert not same(read_scan(tmp_path), moved)


def test_body(tmp_path: Path) -> None:
    shape = mesh()
    body = Body(
        shape,
        np.abs(RANDOM.normal(size=len(shape.vertices))),
        {"trunk": SegmentAxis("trunk", np.array([0, 0, 1 / 3]), np.array([0, 0, -1.0]))},
        {"nape": Landmark("nape", RANDOM.normal(size=3), 0.25)},
        FINDINGS,
    )
    assert same(read_body(write(tmp_path, body_files(body))), body)


def test_patch(tmp_path: Path) -> None:
    patch = Patch(
        DESIGN,
        mesh(),
        (
            (PatchEdge("a", np.array([0, 4, 2]), ((1, "b"),)), PatchEdge("b", np.array([2, 0]))),
            (PatchEdge("c", np.array([5, 6, 7, 5])),),
        ),
        (InnerLine("d", np.array([8, 9])),),
        FINDINGS,
    )
    assert same(read_patch(write(tmp_path, patch_files(patch)), DESIGN), patch)


def test_tape_lines(tmp_path: Path) -> None:
    lines = (
        TapeLine("waist", SurfacePath(RANDOM.normal(size=(4, 3)), np.arange(4), closed=True)),
        TapeLine("side", SurfacePath(RANDOM.normal(size=(2, 3)), np.array([7]))),
    )
    (tmp_path / "x.json").write_bytes(tape_line_files(lines))
    assert same(read_tape_lines(tmp_path, "x.json"), lines)


def test_flat_patch(tmp_path: Path) -> None:
    form = mesh()
    flat = FlatPatch(
        DESIGN,
        form,
        RANDOM.normal(size=(len(form.vertices), 2)),
        (FlatEdge("a", RANDOM.normal(size=(4, 2)), RANDOM.normal(size=4), ((2, "b"),)),),
        RANDOM.normal(size=(len(form.faces), 2)),
        RANDOM.normal(size=(len(form.faces), 2)),
        np.array([0.6, 0.8]),
        (FlatLine("d", RANDOM.normal(size=(3, 2))),),
        FINDINGS,
    )
    files = flat_patch_files(flat)
    assert same(read_flat_patch(write(tmp_path, files), DESIGN), flat)
    assert flat_patch_files(flat) == files  # the same bytes each time: no time of day inside


def test_template(tmp_path: Path) -> None:
    template = Template(
        7,
        "shoulder cap",
        Side.LEFT,
        Drawing(
            "shoulder cap",
            (Stroke(RANDOM.normal(size=(5, 2)), Layer.CUT, closed=True),),
            (Fill(RANDOM.normal(size=(3, 2))),),
            (Hole(RANDOM.normal(size=2), 3.2),),
            (Words("↑ up", RANDOM.normal(size=2), 5.0, 1 / 3, TextAnchor.CENTRE, Layer.WORDS),),
        ),
        RANDOM.normal(size=(5, 2)),
        "card",
        0.1 * 3,
        (0.99 / 3, 1.01),
        FINDINGS,
        fastened=("2 blind rivets for 'strap'",),
    )
    assert template_stem(template) == "07-shoulder-cap-left"
    (tmp_path / "t.json").write_bytes(template_file(template))
    assert same(read_template(tmp_path, "t.json"), template)


def test_damage_is_told_with_the_file_and_the_remedy(tmp_path: Path) -> None:
    body = Body(mesh(), np.zeros(30))
    write(tmp_path, body_files(body))
    (tmp_path / "body.ply").write_bytes(body_files(body)["body.ply"][:200])
    with pytest.raises(JobError, match=r"body\.ply' is damaged") as caught:
        read_body(tmp_path)
    assert "fitkit make" in caught.value.remedy
    (tmp_path / "body.json").write_text("[]")
    with pytest.raises(JobError, match=r"body\.json' is damaged"):
        read_body(tmp_path)
    (tmp_path / "body.json").unlink()
    with pytest.raises(JobError, match=r"body\.json' is not there"):
        read_body(tmp_path)
