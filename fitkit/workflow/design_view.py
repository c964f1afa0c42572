"""The design as it is seen and edited: lines and patches on the bare body, as geometry, no picture.

What can be laid is there; what cannot comes with the reason, so that a page can show both. A view
is made from the view before it, and only what changed is worked out again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fitkit.errors import DesignError, FitkitError
from fitkit.job.job_folder import Job
from fitkit.workflow.drawn_body import DrawnBody, bare_form
from fitkit.workflow.step_report import Progress

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats, Ints
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.geometry.surface_point import SurfacePoint
    from fitkit.patch.design import Anchor, PatchDesign, TapeLineDesign
    from fitkit.patch.form import Form
    from fitkit.patch.lined_form import LinedForm

__all__ = [
    "LinesView",
    "PatchView",
    "PatchesView",
    "Region",
    "line_places_mm",
    "place_mm",
    "redrawn_lines",
    "region_at",
    "view_lines",
    "view_patches",
]


@dataclass(frozen=True, slots=True, eq=False)
class LinesView:
    """The tape lines of a job on its bare body.

    Attributes
    ----------
    job
        As it was opened.
    body_digest
        What the body was made as; another one makes everything new.
    told
        Every line, in the order of the file, the rims of round patches behind.
    drawn
        Those that can be laid.
    faults
        Why the others cannot, by name.
    """

    job: Job
    body_digest: str
    told: tuple[TapeLineDesign, ...]
    drawn: DrawnBody
    faults: Mapping[str, DesignError]


@dataclass(frozen=True, slots=True, eq=False)
class PatchView:
    """One patch on the bare body.

    Attributes
    ----------
    design, number
        As told, and as numbered on paper: ``3/4`` for a pair.
    mesh, label_mm, label_faces
        Its surface, (3,) float mm a place well inside it, and (3,) float the way outwards there;
        None when it cannot be found.
    twin
        Of a pair, where the other one lies: its mirror image, on the body as that is there.
    edges
        The lines that its border runs along.
    fault
        Why it cannot be found or cut.
    """

    design: PatchDesign
    number: str
    mesh: TriangleMesh | None = None
    label_mm: Floats | None = None
    label_faces: Floats | None = None
    twin: TriangleMesh | None = None
    edges: tuple[str, ...] = ()
    fault: FitkitError | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PatchesView:
    """The patches of a job on its bare body.

    Attributes
    ----------
    lines
        What they are bounded by.
    lined
        The body with all lines made into edges.
    patches
        In the order of the file.
    patch_of_face
        (F,) int: index of the patch that each face of the lined body lies in, -1 for none.
    """

    lines: LinesView
    lined: LinedForm
    patches: tuple[PatchView, ...]
    patch_of_face: Ints

    def patch_at(self, point: SurfacePoint) -> PatchView | None:
        """Return the patch that a point of the body lies in."""
        index = int(self.patch_of_face[self.lined.face_at(point)])
        return None if index < 0 else self.patches[index]

    def pair_at(self, point: SurfacePoint) -> PatchView | None:
        """Return the pair whose mirrored one lies at a point of the body."""
        from fitkit.geometry.nearest import nearest_on_mesh
        from fitkit.geometry.surface_point import SurfacePoint

        if not any(patch.design.paired for patch in self.patches):
            return None
        across = np.array([point.point_mm * [-1.0, 1.0, 1.0]])
        places_mm, faces, _ = nearest_on_mesh(self.lines.drawn.form.mesh, across)
        found = self.patch_at(SurfacePoint(places_mm[0], int(faces[0])))
        return found if found is not None and found.design.paired else None


def view_lines(
    job: Job, *, before: LinesView | None = None, progress: Progress | None = None
) -> LinesView:
    """Return the lines of a job, those taken over that are as they were.

    Where nothing changed it is the very view from before.

    Raises
    ------
    JobError
        When the body has not been made.
    """
    from fitkit.job.designs import line_designs

    digest = _body_digest(job)
    if before is not None and before.body_digest != digest:
        before = None
    if before is not None and before.job.text == job.text:
        return before
    return _viewed(job, digest, line_designs(job.settings), before, progress)


def redrawn_lines(view: LinesView, rows: Sequence[Mapping[str, Any]]) -> LinesView:
    """Return the view with some lines added, or told otherwise, without touching the job.

    Parameters
    ----------
    rows
        Whole ``[[line]]`` rows; one of a name that is there stands in its place.

    Raises
    ------
    DesignError
        When one of these lines cannot be laid.
    JobError
        When a row is not one.
    """
    from pydantic import TypeAdapter, ValidationError

    from fitkit.errors import JobError
    from fitkit.job.designs import line_design
    from fitkit.job.line_settings import LineSection

    told = {design.name: design for design in view.told}
    for row in rows:
        try:
            section: LineSection = TypeAdapter(LineSection).validate_python(dict(row))
        except ValidationError as error:
            raise JobError(
                f"The line '{row.get('name', '')}' is not told in full: "
                f"{error.errors()[0]['msg'].removeprefix('Value error, ')}",
                "Give what is missing.",
            ) from error
        told[section.name] = line_design(section)
    redrawn = _viewed(view.job, view.body_digest, tuple(told.values()), view, None)
    for row in rows:
        if row["name"] in redrawn.faults:
            raise redrawn.faults[row["name"]]
    return redrawn


def view_patches(lines: LinesView, *, before: PatchesView | None = None) -> PatchesView:
    """Return the patches that the lines bound; what stayed as it was is the same value."""
    from fitkit.job.designs import part_number_words, patch_designs
    from fitkit.patch.lined_form import line_the_form

    drawn = lines.drawn
    same = before is not None and [line.path for line in before.lines.drawn.lines] == [
        line.path for line in drawn.lines
    ]
    if before is not None and same and before.lines.drawn.form is drawn.form:
        lined = before.lined
    else:
        lined = line_the_form(drawn.form.mesh, drawn.lines)
    kept = {} if before is None else {one.design.name: one for one in before.patches}
    designs = patch_designs(lines.job.settings)
    numbers = part_number_words(designs)
    patches: list[PatchView] = []
    owner = np.full(len(lined.mesh.faces), -1, dtype=np.int64)
    for index, design in enumerate(designs):
        found, region = _view_patch(lines, lined, design, numbers[design.name])
        if region is not None:
            owner[region & (owner < 0)] = index
        was = kept.get(design.name)
        if was is not None and was.mesh is not None and _same_mesh(was.mesh, found.mesh):
            found = replace(found, mesh=was.mesh, twin=was.twin)
        if found.mesh is not None and design.paired != (found.twin is not None):
            found = replace(found, twin=_twin(found.mesh, drawn.form) if design.paired else None)
        patches.append(found)
    return PatchesView(lines, lined, tuple(patches), owner)


def line_places_mm(view: LinesView, name: str) -> tuple[Floats, ...]:
    """Return where the places lie that a line is drawn through, (3,) float mm each."""
    from fitkit.patch.design import GeodesicLine, RoundLine, ThroughLine

    design = next((one for one in view.drawn.designs if one.name == name), None)
    if isinstance(design, GeodesicLine | ThroughLine):
        return _placed_mm(view, design.through)
    return _placed_mm(view, (design.centre,)) if isinstance(design, RoundLine) else ()


def place_mm(view: LinesView, values: Mapping[str, Any]) -> Floats:
    """(3,) float mm: where a place lies that is told as in ``job.toml``.

    Raises
    ------
    DesignError
        When the body has no such place.
    JobError
        When it is not told in full.
    """
    return _placed_mm(view, (_anchor(values),))[0]


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """What a patch could be made of: the piece of the body that lines run round.

    Attributes
    ----------
    point
        In it.
    row
        Of a patch there, without its name.
    mesh
        The piece.
    """

    point: SurfacePoint
    row: Mapping[str, Any]
    mesh: TriangleMesh


def region_at(view: PatchesView, point: SurfacePoint) -> Region:
    """Return the piece round a point of the body that no patch takes in yet.

    Raises
    ------
    DesignError
        When no line runs round it, the point lies on a line, or in a patch.
    """
    from fitkit.job.designs import anchor_values_of
    from fitkit.patch.cut_patches import patch_region
    from fitkit.patch.design import PatchDesign
    from fitkit.patch.place_in_words import anchor_at
    from fitkit.patch.region_lines import RegionLines

    there = view.patch_at(point)
    if there is not None:
        raise DesignError(
            f"The patch '{there.design.name}' is there already.",
            "Click beside it, or draw a line through it and divide it.",
        )
    inside = anchor_at(view.lines.drawn.form, point.point_mm)
    faces = patch_region(view.lined, PatchDesign("new patch", (), inside), [(inside, point)])
    edges = RegionLines(view.lined, faces).border_lines()
    if not edges:
        raise DesignError(
            "No lines run round this place.",
            "Draw the lines that bound it first, each as far as the next.",
        )
    row = {"lines": list(edges), "inside": anchor_values_of(inside)}
    return Region(point, row, view.lined.mesh.faces_only(faces)[0])


def _anchor(values: Mapping[str, Any]) -> Anchor:
    from pydantic import ValidationError

    from fitkit.errors import JobError
    from fitkit.job.designs import anchor_of
    from fitkit.job.line_settings import AnchorSection

    try:
        return anchor_of(AnchorSection.model_validate(dict(values)))
    except ValidationError as error:
        message = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise JobError("That is not a place.", message) from error


def _placed_mm(view: LinesView, anchors: Sequence[Anchor]) -> tuple[Floats, ...]:
    from fitkit.patch.line_anchor import place_among_lines

    paths = {line.name: line.path for line in view.drawn.lines}
    points = place_among_lines(view.drawn.form, tuple(anchors), paths)
    return tuple(point.point_mm for point in points)


def _body_digest(job: Job) -> str:
    from fitkit.job.made_from import MadeFrom

    record = MadeFrom.read(job.result_folder("body"))
    return "" if record is None else record.result_digest()


def _viewed(
    job: Job,
    digest: str,
    told: tuple[TapeLineDesign, ...],
    before: LinesView | None,
    progress: Progress | None,
) -> LinesView:
    from fitkit.patch.line_network import lay_what_can_be, unchanged_lines

    if before is None:
        form, kept = bare_form(job), {}
    else:
        form = before.drawn.form
        kept = unchanged_lines(before.drawn.designs, before.drawn.lines, told)
    lines, faults = lay_what_can_be(form, told, kept=kept, progress=progress)
    laid_names = {line.name for line in lines}
    drawn = DrawnBody(form, tuple(d for d in told if d.name in laid_names), lines)
    return LinesView(job, digest, told, drawn, faults)


def _view_patch(
    lines: LinesView, lined: LinedForm, design: PatchDesign, number: str
) -> tuple[PatchView, np.ndarray | None]:
    from fitkit.patch.cut_patches import patch_region, places_inside
    from fitkit.patch.region_lines import RegionLines
    from fitkit.patch.unclosed_patch import unclosed_patch

    bare = PatchView(design, number)
    fault: FitkitError | None = None
    missing = [line for line in design.boundary if line not in lined.lines]
    if missing:
        fault = DesignError(
            f"The line '{missing[0]}' round the patch '{design.name}' is not there.",
            "Put that line right, or take it out of the patch's lines.",
        )
        return replace(bare, fault=fault), None
    try:
        region = patch_region(lined, design, places_inside(lines.drawn.form, design))
    except DesignError as error:
        return replace(bare, fault=error), None
    drawn = RegionLines(lined, region)
    edges = drawn.border_lines()
    open_at = [line for line in design.boundary if line not in edges]
    if open_at:
        fault = unclosed_patch(lines.drawn.form, lined, design, region)
    elif not edges:
        fault = DesignError(
            f"No lines run round the patch '{design.name}'.", "Draw the lines that bound it."
        )
    if fault is not None:
        return replace(bare, edges=edges, fault=fault), None
    mesh, _ = lined.mesh.faces_only(region)
    middle = _middle_face(mesh)
    normal = mesh.face_normals_scaled()[middle]
    return replace(
        bare,
        mesh=mesh,
        label_mm=mesh.corners[middle].mean(axis=0),
        label_faces=normal / np.linalg.norm(normal),
        edges=edges,
    ), region


def _twin(mesh: TriangleMesh, form: Form) -> TriangleMesh:
    from fitkit.geometry.nearest import nearest_on_mesh

    other = mesh.mirrored()
    return other.with_vertices(nearest_on_mesh(form.mesh, other.vertices)[0])


def _middle_face(mesh: TriangleMesh) -> int:
    """Return the face nearest to the middle of a surface, slivers that lines leave aside."""
    middles, areas = mesh.corners.mean(axis=1), mesh.face_areas_mm2()
    middle = (areas[:, None] * middles).sum(axis=0) / areas.sum()
    off = np.linalg.norm(middles - middle, axis=1)
    off[areas < 0.2 * np.median(areas)] = np.inf
    return int(off.argmin())


def _same_mesh(one: TriangleMesh, other: TriangleMesh | None) -> bool:
    return (
        other is not None
        and np.array_equal(one.faces, other.faces)
        and np.array_equal(one.vertices, other.vertices)
    )
