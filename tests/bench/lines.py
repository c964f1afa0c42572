"""What drawing costs: a geodesic, and a 60-part design re-cut and drawn again after one move.

Run ``python -m tests.bench.lines``; processor seconds, so that a busy machine counts less.
"""

from __future__ import annotations

import resource
import statistics
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from math import radians
from typing import Any

import numpy as np

from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.geometry.geodesic import shortest_path
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.surface_point import SurfacePoint
from fitkit.patch.cut_patches import CutForm, cut_form
from fitkit.patch.design import (
    AxisAnchor,
    GeodesicLine,
    HeightAnchor,
    LevelLine,
    PatchDesign,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.patch.form import Form, grow_form
from fitkit.patch.line_network import lay_tape_lines, unchanged_lines
from fitkit.patch.tape_line import TapeLine
from fitkit.workflow.patches_picture import png_of_cut
from tests.truth.mannequin import mannequin
from tests.truth.solids import sphere

HEIGHTS = (830, 890, 950, 1010, 1070, 1130, 1190)
BEARINGS = (0, 45, 90, 135, 180, 225, 270, 315)
ON_ARM = (0.5, 0.58, 0.66, 0.74, 0.82, 0.9, 0.97)


def sixty_parts() -> tuple[list[TapeLineDesign], list[PatchDesign]]:
    """Return 48 plates round the trunk and 12 rings on the arms, and the 32 lines between."""

    def upright(bearing: int) -> str:
        return "middle" if bearing % 180 == 0 else f"upright {bearing}"

    lines: list[TapeLineDesign] = [SymmetryLine("middle")]
    lines += [LevelLine(f"level {height}", height_mm=height) for height in HEIGHTS]
    for bearing in BEARINGS:
        if bearing % 180:
            places = enumerate((820, 900, 1000, 1100, 1200))
            points = (HeightAnchor(h, radians(bearing + 4 * (i % 2))) for i, h in places)
            lines.append(ThroughLine(upright(bearing), tuple(points)))
    patches = []
    for low, high in pairwise(HEIGHTS):
        for bearing in BEARINGS:
            sides = (upright(bearing), upright((bearing + 45) % 360))
            inside = HeightAnchor((low + high) / 2, radians(bearing + 24))
            patches.append(
                PatchDesign(f"{low} {bearing}", (f"level {low}", f"level {high}", *sides), inside)
            )
    for side in ("left", "right"):
        arm = f"{side} arm"
        lines += [LevelLine(f"{arm} {along}", axis=arm, along=along) for along in ON_ARM]
        for bearing in (90, 270):
            ends = (AxisAnchor(arm, along, radians(bearing)) for along in (0.47, 0.99))
            lines.append(GeodesicLine(f"{arm} seam {bearing}", tuple(ends)))
        for low_at, high_at in pairwise(ON_ARM):
            bounds = (f"{arm} {low_at}", f"{arm} {high_at}")
            inside_arm = AxisAnchor(arm, (low_at + high_at) / 2, 0.0)
            patches.append(
                PatchDesign(f"{arm} {low_at}", bounds, inside_arm, seams=(f"{arm} seam 270",))
            )
    return lines, patches


def moved(lines: list[TapeLineDesign], by_rad: float) -> list[TapeLineDesign]:
    """Return the lines with one upright turned about the trunk."""
    return [
        replace(
            line,
            through=tuple(
                replace(a, bearing_rad=a.bearing_rad + by_rad)
                for a in line.through
                if isinstance(a, HeightAnchor)
            ),
        )
        if isinstance(line, ThroughLine) and line.name == "upright 45"
        else line
        for line in lines
    ]


def spent(work: Callable[[], Any]) -> tuple[Any, float]:
    """Return what some work gives and the processor seconds it took."""
    before = resource.getrusage(resource.RUSAGE_SELF)
    result = work()
    after = resource.getrusage(resource.RUSAGE_SELF)
    return result, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def bench_geodesics() -> None:
    """Twenty random great circles on a sphere of some 50,000 triangles."""
    mesh = sphere(200.0, 4.25)
    rng = np.random.default_rng(1)
    towards = rng.normal(size=(40, 3))
    towards /= np.linalg.norm(towards, axis=1, keepdims=True)
    on, faces, _ = nearest_on_mesh(mesh, 200.0 * towards)
    points = [SurfacePoint(p, int(f)) for p, f in zip(on, faces, strict=True)]
    shortest_path(mesh, points[0], points[1])
    took, errors = [], []
    for i in range(0, 40, 2):
        path, seconds = spent(lambda i=i: shortest_path(mesh, points[i], points[i + 1]))  # type: ignore[misc]
        a, b = (p.point_mm / np.linalg.norm(p.point_mm) for p in points[i : i + 2])
        took.append(seconds)
        errors.append(abs(path.length_mm() / (200.0 * np.arccos(a @ b)) - 1.0))
    print(
        f"geodesic, {len(mesh.faces)} triangles: median {1e3 * statistics.median(took):.0f} ms, "
        f"worst {1e3 * max(took):.0f} ms; length off by {max(errors):.1e} at most"
    )


def bench_sixty_parts() -> None:
    """Grow a form, draw the design, then move one line three times."""
    body = body_of_mesh(mannequin())
    form: Form = grow_form(body, clearance_mm=6.0)
    lines, patches = sixty_parts()
    numbers = {patch.name: str(i + 1) for i, patch in enumerate(patches)}

    def drawn(cut: CutForm, laid: tuple[TapeLine, ...]) -> bytes:
        return png_of_cut(cut, laid, numbers, height_px=700)

    laid, first = spent(lambda: lay_tape_lines(form, lines))
    cut, cutting = spent(lambda: cut_form(form, laid, patches))
    _, drawing = spent(lambda: drawn(cut, laid))
    print(f"{len(patches)} parts, {len(lines)} lines, {len(form.mesh.faces)} triangles")
    print(f"first time:      lines {first:.2f} s, cut {cutting:.2f} s, picture {drawing:.2f} s")
    for turn in (0.05, 0.1, 0.15):
        # As after opening: nothing is remembered of the form but its lines.
        fresh = Form(TriangleMesh(form.mesh.vertices, form.mesh.faces), 6.0, body)
        wanted = moved(lines, turn)
        kept = unchanged_lines(lines, laid, wanted)
        again, laying = spent(lambda: lay_tape_lines(fresh, wanted, kept=kept))  # noqa: B023
        cut, cutting = spent(lambda: cut_form(fresh, again, patches))  # noqa: B023
        _, drawing = spent(lambda: drawn(cut, again))  # noqa: B023
        print(
            f"one line moved:  lines {laying:.2f} s, cut {cutting:.2f} s, picture {drawing:.2f} s, "
            f"together {laying + cutting + drawing:.2f} s"
        )


if __name__ == "__main__":
    bench_geodesics()
    bench_sixty_parts()
