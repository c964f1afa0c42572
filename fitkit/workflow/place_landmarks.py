"""Landmarks and joints as they are looked at, and putting them right by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

from fitkit.errors import InputError
from fitkit.workflow.edit_settings import change_setting
from fitkit.workflow.step_report import StepReport

if TYPE_CHECKING:
    from fitkit.body.body import Body, Landmark
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.job.job_folder import Job
    from fitkit.workflow.pick_place import Ray

__all__ = [
    "BodyPlaces",
    "MarkKind",
    "PlacedMark",
    "mark_at",
    "move_mark",
    "place_mark",
    "see_places",
    "under_ray_mm",
]

MarkKind: TypeAlias = Literal["landmark", "joint"]

# A landmark whose skin slopes away lies a little farther off than what the ray meets.
_BEHIND_MM = 30.0
_SECTIONS: Mapping[MarkKind, str] = {"landmark": "body.landmarks", "joint": "motion.joints"}


@dataclass(frozen=True, slots=True, eq=False)
class PlacedMark:
    """A landmark or a joint's centre.

    Attributes
    ----------
    name
        As in ``job.toml``.
    at_mm
        (3,) float mm on the body there is; where it was just put it is there at once.
    confidence
        0 to 1: how sure geometry is.
    by_hand
        Whether ``job.toml`` puts it there.
    source
        Where a joint's centre comes from, in words; empty for a landmark.
    """

    name: str
    at_mm: Floats
    confidence: float
    by_hand: bool
    source: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class BodyPlaces:
    """The named places of a body.

    Attributes
    ----------
    body
        The body there is; ``found`` is the surface it was reshaped from, itself where it was not.
    landmarks, joints
        In the order in which they were found.
    """

    body: Body
    found: TriangleMesh
    landmarks: tuple[PlacedMark, ...]
    joints: tuple[PlacedMark, ...]

    def of(self, kind: MarkKind) -> tuple[PlacedMark, ...]:
        """Return the landmarks or the joints."""
        return self.landmarks if kind == "landmark" else self.joints


def see_places(folder: Path | str) -> BodyPlaces | None:
    """Return the landmarks and joints of a job's body; None when none was made.

    What ``job.toml`` has put elsewhere since the body was made is there already.

    Raises
    ------
    JobError
        When the folder is not a job, or a file is damaged.
    DesignError
        When ``job.toml`` names a joint that the body does not show.
    """
    from fitkit.job.body_files import FOUND_MARKS_FILE, FOUND_STEM, read_body, read_landmarks
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom

    job = open_job(folder)
    kept = job.result_folder("body")
    record = MadeFrom.read(kept)
    if record is None:
        return None
    body = read_body(kept)
    reshaped = f"{FOUND_STEM}.ply" in record.files
    found = read_body(kept, stem=FOUND_STEM).mesh if reshaped else body.mesh
    marks = body.landmarks
    if FOUND_MARKS_FILE in record.files:
        marks = {
            mark.name: replace(mark, at_mm=_carried(found, body.mesh, mark.at_mm))
            for mark in read_landmarks(kept).values()
        }
    landmarks = _landmarks(job, marks, found, body.mesh)
    return BodyPlaces(body, found, landmarks, _joints(job, body, landmarks))


def _landmarks(
    job: Job, marks: Mapping[str, Landmark], found: TriangleMesh, mesh: TriangleMesh
) -> tuple[PlacedMark, ...]:
    import numpy as np

    told = {name: np.array(at) for name, at in job.settings.body.landmarks.items()}
    placed = {
        mark.name: PlacedMark(mark.name, mark.at_mm, mark.confidence, by_hand=False)
        for mark in marks.values()
    }
    for name, at_mm in told.items():
        placed[name] = PlacedMark(name, _carried(found, mesh, at_mm), 1.0, by_hand=True)
    return tuple(placed.values())


def _joints(job: Job, body: Body, landmarks: Sequence[PlacedMark]) -> tuple[PlacedMark, ...]:
    from fitkit.body.body import Landmark
    from fitkit.workflow.moving_body import joints_of

    # Joints follow the landmarks where those were just put.
    now = {mark.name: Landmark(mark.name, mark.at_mm, mark.confidence) for mark in landmarks}
    joints = joints_of(job, replace(body, landmarks=now))
    own = job.settings.motion.joints
    return tuple(
        PlacedMark(joint.name, joint.centre_mm, joint.confidence, joint.name in own, joint.source)
        for joint in joints.values()
    )


def mark_at(places: BodyPlaces, kind: MarkKind, ray: Ray) -> str | None:
    """Return the place that a ray means, None when none is within its reach.

    Of landmarks only those on the side of the body that is looked at.
    """
    import numpy as np

    from fitkit.geometry.nearest import rays_of

    origin, way = np.array(ray.origin_mm), np.array(ray.direction)
    way = way / np.linalg.norm(way)
    far = np.inf
    if kind == "landmark":
        hit = rays_of(places.body.mesh).first_hit(origin[np.newaxis], way[np.newaxis])
        if hit.faces[0] >= 0:
            far = float(np.linalg.norm(hit.points_mm[0] - origin)) + _BEHIND_MM
    best, found = np.inf, None
    for mark in places.of(kind):
        along = float((mark.at_mm - origin) @ way)
        off = float(np.linalg.norm(mark.at_mm - origin - along * way))
        if 0.0 < along <= far and off <= ray.reach * along and off < best:
            best, found = off, mark.name
    return found


def under_ray_mm(places: BodyPlaces, kind: MarkKind, name: str, ray: Ray) -> Floats | None:
    """Return where a place comes to lie that is dragged under a ray; None when beside the body.

    A landmark lies on the skin; a joint's centre, inside the body, stays as far from the eye
    as it is.

    Returns
    -------
    (3,) float mm.
    """
    import numpy as np

    from fitkit.geometry.nearest import rays_of

    origin, way = np.array(ray.origin_mm), np.array(ray.direction)
    if kind == "landmark":
        hit = rays_of(places.body.mesh).first_hit(origin[np.newaxis], way[np.newaxis])
        return hit.points_mm[0] if hit.faces[0] >= 0 else None
    way = way / np.linalg.norm(way)
    now = next((mark.at_mm for mark in places.joints if mark.name == name), None)
    if now is None:
        return None
    put: Floats = origin + float((now - origin) @ way) * way
    return put


def place_mark(
    folder: Path | str, kind: MarkKind, name: str, at_mm: Sequence[float] | Floats | None
) -> StepReport:
    """Put a landmark or a joint's centre right in ``job.toml``; None takes it as it is found.

    Parameters
    ----------
    at_mm
        (3,) float mm on the body there is. A landmark is laid onto its skin.

    Raises
    ------
    InputError
        When it has no name, or three numbers are not given.
    JobError
        When there is no body, or no joint of that name.
    """
    import numpy as np

    from fitkit.errors import JobError

    name = " ".join(name.split())
    if not name:
        raise InputError("The landmark has no name.", "Name it, as left armpit.")
    if at_mm is None:
        return change_setting(
            folder, _SECTIONS[kind], name, None, words=f"took the {kind} '{name}' as it is found"
        )
    at = np.asarray(at_mm, dtype=np.float64)
    if at.shape != (3,) or not np.isfinite(at).all():
        raise InputError(
            f"The {kind} '{name}' needs three numbers.",
            "Give millimetres to the wearer's left, to the back, and up from the floor.",
        )
    places = see_places(folder)
    if places is None:
        raise JobError("There is no body yet.", "Make it first.")
    if kind == "landmark":
        at = _carried(places.body.mesh, places.found, at)
    elif name not in {joint.name for joint in places.joints}:
        raise JobError(
            f"This body has no joint called '{name}'.",
            f"Use one of: {', '.join(joint.name for joint in places.joints) or 'none found'}.",
        )
    told = [round(float(part), 1) for part in at]
    return change_setting(
        folder, _SECTIONS[kind], name, told, words=f"put the {kind} '{name}' right"
    )


def move_mark(folder: Path | str, kind: MarkKind, name: str, axis: int, to_mm: float) -> StepReport:
    """Put one of a place's three numbers right in ``job.toml``; the others are as they are there.

    Parameters
    ----------
    axis
        0 to the wearer's left, 1 to the back, 2 up.

    Raises
    ------
    JobError
        When there is no body, or it shows no such place.
    """
    from fitkit.errors import JobError

    places = see_places(folder)
    marks = () if places is None else places.of(kind)
    mark = next((mark for mark in marks if mark.name == name), None)
    if mark is None:
        raise JobError(
            f"The body shows no {kind} called '{name}' any more.", "Put it on the body anew."
        )
    at = mark.at_mm.copy()
    at[axis] = to_mm
    return place_mark(folder, kind, name, at)


def _carried(mesh: TriangleMesh, other: TriangleMesh, at_mm: Floats) -> Floats:
    """Return the place of the skin nearest to a point, on the same skin otherwise shaped."""
    import numpy as np

    from fitkit.geometry.nearest import nearest_on_mesh

    points, faces, _ = nearest_on_mesh(mesh, at_mm[np.newaxis])
    if mesh is other:
        on_skin: Floats = points[0]
        return on_skin
    corners = mesh.corners[faces[0]]
    shares = np.linalg.lstsq(
        np.vstack([corners.T, np.ones(3)]), np.append(points[0], 1.0), rcond=None
    )[0]
    carried: Floats = shares @ other.corners[faces[0]]
    return carried
