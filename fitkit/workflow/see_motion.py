"""What the sweep of the joints found, as it is looked at; the body posed with its plates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import JobError

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.workflow.moving_body import MovingBody

__all__ = [
    "PosedBody",
    "SeenContact",
    "SeenLame",
    "SeenMotion",
    "SeenNeed",
    "SeenRange",
    "SeenTrim",
    "known_needs",
    "pose_body",
    "read_moving_body",
    "see_motion",
]


@dataclass(frozen=True, slots=True, eq=False)
class SeenContact:
    """A plate that meets another, or the body.

    Attributes
    ----------
    plate, other
        What meets what.
    angle_deg
        Where in the range they first touch.
    depth_mm
        How deep at most.
    at_mm
        (3,) float mm: where on the plate, at rest.
    """

    plate: str
    other: str
    angle_deg: float
    depth_mm: float
    at_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class SeenRange:
    """One range, in degrees.

    Attributes
    ----------
    name, because
        The movement or need, and where its goal comes from.
    joint
        The joint whose movement it is; empty for a need that takes several.
    rest_deg, wanted_deg, free_deg, trimmed_deg
        At rest, asked for, free now, and free with the trims that are offered.
    contacts
        The earliest first.
    """

    name: str
    because: str
    joint: str
    rest_deg: float
    wanted_deg: float
    free_deg: float
    trimmed_deg: float
    contacts: tuple[SeenContact, ...]

    def part(self, angle_deg: float) -> float:
        """Return how far along the range an angle is, 0 at rest, 1 at the end."""
        whole = self.wanted_deg - self.rest_deg
        return min(max((angle_deg - self.rest_deg) / whole, 0.0), 1.0) if whole > 0 else 0.0

    def angle_deg(self, part: float) -> float:
        """Return the angle after a part of the range."""
        return self.rest_deg + part * (self.wanted_deg - self.rest_deg)


@dataclass(frozen=True, slots=True, eq=False)
class SeenTrim:
    """A trim that is offered.

    Attributes
    ----------
    patch
        What is trimmed.
    width_mm, area_mm2, share
        How deep, how much, and what part of the patch.
    frees
        The ranges that it frees or helps to free.
    lines_mm
        (N, 3) float mm each: where the patch would end, on the plate at rest.
    """

    patch: str
    width_mm: float
    area_mm2: float
    share: float
    frees: tuple[str, ...]
    lines_mm: tuple[Floats, ...]


@dataclass(frozen=True, slots=True)
class SeenLame:
    """How one lame is hung under another: the slot's length, and how far its edge slips out."""

    upper: str
    lower: str
    slot_mm: float
    gap_mm: float


@dataclass(frozen=True, slots=True)
class SeenNeed:
    """Something the wearer may want to do: what it takes in degrees, and whether it is wanted.

    ``missing`` are the joints it takes that the body does not show.
    """

    name: str
    takes: Mapping[str, float]
    wanted: bool
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class SeenMotion:
    """What the last sweep found.

    Attributes
    ----------
    joints
        Names of the joints that the body shows.
    segments
        What plates can ride on.
    rides
        What each patch rides on, by name; of a pair the left one's.
    fresh
        Whether it is of the job as it is now.
    """

    ranges: tuple[SeenRange, ...]
    trims: tuple[SeenTrim, ...]
    lames: tuple[SeenLame, ...]
    joints: tuple[str, ...]
    segments: tuple[str, ...]
    rides: Mapping[str, str]
    fresh: bool


@dataclass(frozen=True, slots=True, eq=False)
class PosedBody:
    """The body and the plates, by name, in a pose, and the contacts by then, (3,) float mm each."""

    body: TriangleMesh
    plates: Mapping[str, TriangleMesh]
    touches: tuple[tuple[SeenContact, Floats], ...]


def see_motion(folder: Path | str) -> SeenMotion | None:
    """Return what the last sweep found; None before the first.

    Raises
    ------
    JobError
        When the folder is not a job, or a file is damaged.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.motion_files import read_motion

    job = open_job(folder)
    kept = job.result_folder("motion")
    if MadeFrom.read(kept) is None:
        return None
    values = read_motion(kept)
    joints = tuple(row["name"] for row in values["joints"])
    segments = dict.fromkeys(row[key] for row in values["joints"] for key in ("holds", "moves"))
    rides: dict[str, str] = {}
    for plate in values["plates"]:
        rides.setdefault(plate["patch"], plate["rides_on"])
    return SeenMotion(
        tuple(_range(row, joints) for row in values["ranges"]),
        tuple(_trim(row) for row in values["trims"]),
        tuple(
            SeenLame(row["upper"], row["lower"], row["slot_mm"], row["gap_mm"])
            for row in values["lames"]
        ),
        joints,
        tuple(segments),
        rides,
        job.state("motion").state == "fresh",
    )


def _range(row: Mapping[str, Any], joints: tuple[str, ...]) -> SeenRange:
    import numpy as np

    own = [name for name in joints if row["name"].startswith(f"{name} ")]
    return SeenRange(
        row["name"],
        row["because"],
        own[0] if own else "",
        row["rest_deg"],
        row["wanted_deg"],
        row["free_deg"],
        row["free_after_trim_deg"],
        tuple(
            SeenContact(
                one["plate"],
                one["other"],
                one["angle_deg"],
                one["depth_mm"],
                np.array(one["at_mm"], dtype=np.float64),
            )
            for one in row["contacts"]
        ),
    )


def _trim(row: Mapping[str, Any]) -> SeenTrim:
    import numpy as np

    return SeenTrim(
        row["patch"],
        row["width_mm"],
        row["area_mm2"],
        row["share"],
        tuple(row["frees"]),
        tuple(np.array(line, dtype=np.float64).reshape(-1, 3) for line in row["lines_mm"]),
    )


def known_needs(folder: Path | str, seen: SeenMotion | None) -> tuple[SeenNeed, ...]:
    """Return every need that can be asked for, the job's own first.

    Parameters
    ----------
    seen
        The last sweep, whose body tells which joints there are.

    Raises
    ------
    JobError
        When the folder is not a job.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.motion.asked_range import NEEDS

    settings = open_job(folder).settings
    takes: dict[str, Mapping[str, float]] = {need.name: need.takes for need in settings.need}
    takes |= {name: degrees for name, degrees in NEEDS.items() if name not in takes}
    shown = None if seen is None else {name.split()[-1] for name in seen.joints}

    def missing(degrees: Mapping[str, float]) -> tuple[str, ...]:
        needed = {_joint_word(movement) for movement in degrees}
        return () if shown is None else tuple(sorted(needed - shown))

    wanted = settings.motion.needs
    return tuple(
        SeenNeed(name, degrees, name in wanted, missing(degrees)) for name, degrees in takes.items()
    )


def _joint_word(movement: str) -> str:
    """Return the joint that a movement, with or without its side, is of."""
    words = movement.lower().split()
    return words[1] if words[0] in ("left", "right") and len(words) > 1 else words[0]


def read_moving_body(folder: Path | str) -> MovingBody | None:
    """Return the body and plates of a job, to be posed; None before its patches are cut.

    Raises
    ------
    JobError
        When a file is missing or damaged.
    DesignError
        When ``job.toml`` names a joint, a movement or a need that is not there.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.workflow.moving_body import moving_body

    job = open_job(folder)
    if any(MadeFrom.read(job.result_folder(step)) is None for step in ("body", "patches")):
        return None
    return moving_body(job)


def pose_body(moving: MovingBody, seen: SeenRange | None, part: float) -> PosedBody:
    """Return the body after a part of a range, 0 to 1; at rest without one.

    Raises
    ------
    JobError
        When the range is not asked for any more.
    """
    from fitkit.motion.pose import Pose, pose_of

    pose = Pose(())
    if seen is not None and part > 0.0:
        asked = next((one for one in moving.ranges if one.name == seen.name), None)
        if asked is None:
            raise JobError(f"'{seen.name}' is not asked for any more.", "Move the joints again.")
        pose = pose_of(moving.skin.joints, asked.turned(part))
    carried = {plate.name: plate.carried(pose) for plate in moving.plates}
    touches = (
        []
        if seen is None
        else [
            (contact, carried[contact.plate].apply(contact.at_mm[None])[0])
            for contact in seen.contacts
            if contact.plate in carried and seen.part(contact.angle_deg) <= part + 1e-6
        ]
    )
    return PosedBody(
        moving.skin.posed(pose),
        {
            plate.name: plate.mesh.with_vertices(carried[plate.name].apply(plate.mesh.vertices))
            for plate in moving.plates
        },
        tuple(touches),
    )
