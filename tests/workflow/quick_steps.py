"""Steps of the line that take no time, in the place of the real ones.

They let the keeping of the job be tested by itself: what runs when, what is left after a
failure or a kill. Each writes its name into :data:`CALLS`. The real line is tested in
``tests/journeys``.
"""

# ruff: noqa: ARG001, ARG005  the signatures are those of the real steps
from __future__ import annotations

import hashlib
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np

from fitkit.body.body import Body, SegmentAxis
from fitkit.capture.camera import Camera, Lens
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras
from fitkit.drawing.drawing import Drawing, Layer, Stroke
from fitkit.errors import PhotoError
from fitkit.findings import Finding, Severity
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from fitkit.geometry.surface_path import SurfacePath
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import Patch, PatchEdge
from fitkit.template.part_tag import part_tag
from fitkit.template.template import Template

CALLS: list[str] = []
"""Names of the steps that ran, in order."""

JOB = """\
# The maker's remark.
format = 1

[job]
name = "Heron"

[wearer]
name = "Mira"  # likes blue

[capture]
longest_px = 1200

[form]
clearance_mm = 5

[[line]]
name = "waist"
kind = "level"
height_mm = 0.5

[[patch]]
name = "plate"
lines = ["waist"]
inside = {height_mm = 1, bearing_deg = 0}
side = "left"
pair = true

[[patch]]
name = "belt"
lines = ["waist"]
inside = {height_mm = 1, bearing_deg = 0}
clearance_mm = 9
"""

SQUARE = TriangleMesh(
    np.array([[0.0, 0, 0], [80, 0, 0], [80, 0, 60], [0, 0, 60]]), np.array([[0, 1, 2], [0, 2, 3]])
)
PNG = b"\x89PNG quick"


def job_folder(folder: Path, *, photos: int = 4, text: str = JOB) -> Path:
    """Make a job with photos that only the quick steps take for photos."""
    (folder / "photos").mkdir(parents=True)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    for number in range(photos):
        (folder / "photos" / f"IMG_{number}.jpg").write_bytes(f"photo {number}".encode())
    return folder


def tree(folder: Path) -> dict[str, str]:
    """Return a digest of every file under a folder, hidden ones included."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def _read_photos(
    paths: Sequence[Path], *, longest_px: int, progress: Any = None
) -> tuple[tuple[Any, ...], tuple[Finding, ...]]:
    CALLS.append("read_photos")
    photos = tuple(SimpleNamespace(name=path.name, content=path.read_bytes()) for path in paths)
    return photos, ()


def _solve_cameras(
    photos: Sequence[Any],
    *,
    printed_mm: Any = None,
    checks: Any = (),
    tags: Any = None,
    measure: Any = None,
    progress: Any = None,
) -> SolvedCameras:
    if len(photos) < 3:
        raise PhotoError(f"{len(photos)} photos cannot give a body.", "Take at least 20.")
    lens = Lens(1200, 900, 1000.0, 600.0, 450.0)
    cameras = tuple(Camera(photo.name, lens, RigidTransform.identity()) for photo in photos)
    note = Finding("photo-far", Severity.NOTE, photos[0].name, "Taken from far away.")
    return SolvedCameras(cameras, (), 0.3, 0.001, (note,))


def _reconstruct(photos: Sequence[Any], solved: Any, volume: Any, *, progress: Any = None) -> Scan:
    CALLS.append("reconstruct")
    contents = [p.content if hasattr(p, "content") else p.grey.tobytes() for p in photos]
    cloud = [[float(byte) for byte in hashlib.sha256(c).digest()[:3]] for c in contents]
    if progress is not None:
        progress(0.5, "matching")
    normals = np.tile([0.0, 0.0, 1.0], (len(cloud), 1))
    return Scan(solved, volume, np.array(cloud), normals, SQUARE, np.zeros(4))


def _body(scan: Scan, *, progress: Any = None) -> Body:
    CALLS.append("body")
    axis = SegmentAxis("trunk", np.array([0.0, 0, 60]), np.zeros(3))
    # only the first point of the cloud matters: other photos give the same body
    mesh = TriangleMesh(SQUARE.vertices + scan.cloud_mm[0] / 100, SQUARE.faces)
    return Body(mesh, np.zeros(4), {"trunk": axis})


def _form(mesh: TriangleMesh, clearance_mm: float, body: Body, *_: float) -> Any:
    return SimpleNamespace(mesh=mesh, clearance_mm=clearance_mm, body=body)


class _FormGrower:
    def __init__(self, body: Body, **_: Any) -> None:
        self.body = body

    def grow(self, clearance_mm: float, **_: Any) -> Any:
        CALLS.append(f"form {clearance_mm:g}")
        return _form(self.body.mesh, clearance_mm, self.body)


def _lay_tape_lines(form: Any, designs: Any, *, kept: Any = None, progress: Any = None) -> Any:
    path = SurfacePath(form.mesh.vertices, np.zeros(len(form.mesh.vertices)), closed=True)
    return tuple(SimpleNamespace(name=design.name, path=path) for design in designs)


def _cut_form(
    form: Any, lines: Any, designs: Sequence[PatchDesign], *, others: Any, progress: Any = None
) -> Any:
    CALLS.extend(f"cut {design.name}" for design in designs)
    edge = PatchEdge("waist", np.array([0, 1, 2, 3, 0]))
    return SimpleNamespace(patches=tuple(Patch(d, form.mesh, ((edge,),)) for d in designs))


def _flatten_patch(patch: Patch, *, progress: Any = None) -> FlatPatch:
    CALLS.append(f"flatten {patch.design.name}")
    flat = patch.mesh.vertices[:, [0, 2]]
    edge = FlatEdge("waist", np.vstack([flat, flat[:1]]), np.arange(5.0))
    ones = np.ones((2, 2))
    found: tuple[Finding, ...] = ()
    if patch.design.material == "leather":
        found = (Finding("strain", Severity.STOP, patch.design.name, "Stretches 30 %.", "Cut."),)
    return FlatPatch(
        patch.design, patch.mesh, flat, (edge,), ones, ones, np.array([0.0, 1.0]), (), found
    )


def _make_templates(flat: FlatPatch, *, number: int, **_said: object) -> tuple[Template, ...]:
    CALLS.append(f"template {flat.design.name}")
    sides = [flat.design.side] + [flat.design.side.other] * flat.design.paired
    outline = flat.flat_mm
    return tuple(
        Template(
            number + index,
            flat.design.name,
            side,
            Drawing(
                flat.design.name,
                (Stroke(outline, Layer.CUT, closed=True),),
                # The belt stands for parts too small for a tag.
                fills=tuple(part_tag(number + index)) if flat.design.name != "belt" else (),
            ),
            outline,
            flat.design.material,
            flat.design.thickness_mm,
            (1.0, 1.0),
        )
        for index, side in enumerate(sides)
    )


def _tile(parts: Sequence[Drawing], **settings: Any) -> Any:
    CALLS.append("tile")
    pages = (
        SimpleNamespace(windows=()),
        SimpleNamespace(windows=(SimpleNamespace(part=0),)),
    )
    return SimpleNamespace(pages=pages, parts=parts, settings=settings)


def _find_photos(paths: Sequence[Path]) -> tuple[Path, ...]:
    found = [
        file
        for path in paths
        for file in (sorted(path.iterdir()) if Path(path).is_dir() else [path])
    ]
    if not found:
        raise PhotoError("There are no photos in it.", "Give photos.")
    return tuple(found)


def quick_modules() -> dict[str, ModuleType]:
    """Return the quick steps as modules, by the name of what they stand for."""
    functions: dict[str, dict[str, Callable[..., Any] | None]] = {
        "job.small_picture": {
            "small_picture": lambda path: PNG,
            "small_picture_of_grey": lambda grey: PNG,
        },
        "capture.photo": {"find_photos": _find_photos, "read_photos": _read_photos},
        "capture.sheet_view": {"view_sheets": None},
        "job.sheet_view_memory": {"SheetViewMemory": lambda *_: SimpleNamespace(keep=lambda: None)},
        "capture.solve_cameras": {"solve_cameras": _solve_cameras},
        "capture.capture_volume": {
            "default_capture_volume": lambda solved, **_: CaptureVolume(0, 0, 400.0, 700.0, 1700.0)
        },
        "capture.still_room": {"without_still_room": lambda photos: (photos, ())},
        "capture.reconstruct": {"reconstruct": _reconstruct},
        "capture.coverage": {"cover_surface": lambda *_: None},
        "capture.fineness": {"dense_scale": lambda *_: 1.0, "expected_error": lambda _: None},
        "capture.photo_advice": {"plan_photos": lambda *_: None, "advice_findings": lambda _: ()},
        "export.scan_report": {"html_of_scan": lambda *_, **__: b"<!doctype html>"},
        "export.scan_picture": {"png_of_photos": lambda photos, solved: PNG},
        "export.body_picture": {"png_of_body": lambda mesh, **_: PNG},
        "workflow.patches_picture": {"png_of_cut": lambda *_, **__: PNG},
        "export.cut_choices_picture": {"png_of_cut_choices": lambda *_, **__: PNG},
        "export.strain_picture": {"png_of_strain": lambda flat: PNG},
        "export.drawing_picture": {
            "png_of_drawing": lambda drawing, **_: PNG,
            "png_of_page": lambda pages, index, **_: PNG,
        },
        "export.build_book_pdf": {"pdf_of_book": lambda *_, **__: b"%PDF quick"},
        "export.line_picture": {"png_of_line": lambda *_, **__: PNG},
        "body.body_of_scan": {"body_of_scan": _body},
        "patch.form": {"FormGrower": _FormGrower, "Form": _form},
        "patch.pair_findings": {"pair_findings": lambda patch, form: ()},
        "patch.lines_for_patches": {"lines_for_patches": lambda lines, *_, **__: lines},
        "patch.line_network": {
            "lay_tape_lines": _lay_tape_lines,
            "lines_below": lambda name, lines: tuple(one for one in lines if one.name == name),
        },
        "patch.cut_patches": {"cut_form": _cut_form},
        "flatten.flatten_patch": {"flatten_patch": _flatten_patch},
        "template.make_templates": {"make_templates": _make_templates},
        "drawing.tiling": {"tile_drawings": _tile},
        "export.page_pdf": {
            "pdf_of_pages": lambda pages, **_: b"%PDF quick",
            "pdf_of_full_pages": lambda *_: b"%PDF quick",
        },
        "export.drawing_svg": {"svg_of_drawing": lambda drawing: b"<svg/>"},
        "export.drawing_dxf": {"dxf_of_drawing": lambda drawing: b"0\nEOF\n"},
    }
    modules = {}
    for name, members in functions.items():
        module = ModuleType(f"fitkit.{name}")
        for member, function in members.items():
            setattr(module, member, function)
        modules[f"fitkit.{name}"] = module
    return modules


def run_slowly(seconds: float) -> None:
    """Put the quick steps in place for the life of this process, each a little slow."""
    modules = quick_modules()
    for module in modules.values():
        for name, function in list(vars(module).items()):
            if callable(function):
                setattr(module, name, _slowed(function, seconds))
    sys.modules.update(modules)


def _slowed(function: Callable[..., Any], seconds: float) -> Callable[..., Any]:
    def slow(*args: Any, **settings: Any) -> Any:
        time.sleep(seconds)
        return function(*args, **settings)

    return slow
