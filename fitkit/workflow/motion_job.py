"""The joints' motion: plates swept through what the wearer wants to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.body.joints import Joint
    from fitkit.findings import Finding
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.motion_settings import LamesSection
    from fitkit.motion.lames import LameFastening, LameRow
    from fitkit.motion.riding_plate import RidingPlate
    from fitkit.motion.skin_body import SkinBody
    from fitkit.motion.sweep import Swept
    from fitkit.motion.trim import Trim

__all__ = ["RangeRow", "motion_job", "motion_step", "ranges_of", "trims_of"]

_MOST_PICTURES = 12
_UPRIGHT = 0.7


@dataclass(frozen=True, slots=True)
class RangeRow:
    """A range in degrees: at rest, wanted, free now, and free when trimmed."""

    name: str
    rest_deg: float
    wanted_deg: float
    free_deg: float
    trimmed_deg: float


def ranges_of(folder: Path | str) -> tuple[RangeRow, ...]:
    """Return the ranges that the last :func:`motion_job` swept.

    Raises
    ------
    JobError
        When there are none.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.motion_files import read_motion

    values = read_motion(open_job(folder).result_folder("motion"))
    return tuple(
        RangeRow(
            row["name"],
            row["rest_deg"],
            row["wanted_deg"],
            row["free_deg"],
            row["free_after_trim_deg"],
        )
        for row in values["ranges"]
    )


def motion_job(folder: Path | str, *, progress: Progress | None = None) -> tuple[StepReport, ...]:
    """Make what is stale up to the patches, then sweep the plates through the asked ranges.

    Raises
    ------
    JobError
        When no patches are drawn.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.workflow.make_job import make_job

    job = open_job(folder)
    if not job.settings.patch:
        raise JobError(
            f"No patches are drawn in '{job.folder.name}' yet, so there are no plates to move.",
            f"Add one with: fitkit patch add {job.called} NAME --inside PLACE.",
        )
    return make_job(folder, until="motion", progress=progress)


def trims_of(folder: Path | str) -> tuple[str, ...]:
    """Return the patches for which the last :func:`motion_job` offers a trim."""
    from fitkit.job.job_folder import open_job
    from fitkit.job.motion_files import read_motion

    values = read_motion(open_job(folder).result_folder("motion"))
    return tuple(row["patch"] for row in values["trims"])


def motion_step(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Sweep the plates, if that is stale. Hold the lock."""
    return run_step(
        job, "motion", lambda told: _motion(job, told), digests=digests, progress=progress
    )


def _motion(job: Job, progress: Progress | None) -> Made:
    import numpy as np

    from fitkit.job.motion_files import motion_files
    from fitkit.motion.lames import check_lames
    from fitkit.motion.motion_findings import motion_findings
    from fitkit.motion.sweep import SweepSettings, sweep
    from fitkit.motion.trim import plan_trims
    from fitkit.workflow.moving_body import moving_body

    told = progress or (lambda _fraction, _words: None)
    wishes = job.settings.motion
    told(0.0, "finding the joints")
    moving = moving_body(job)
    skin, plates, ranges = moving.skin, moving.plates, moving.ranges
    joints = skin.joints
    settings = SweepSettings(
        float(np.radians(wishes.step_deg)), wishes.tolerance_mm, wishes.soft_mm
    )
    swept = sweep(skin, plates, ranges, settings, progress=part_of(progress, 0.1, 0.5))
    trims, trimmed = plan_trims(
        skin,
        plates,
        swept,
        settings,
        margin_mm=wishes.margin_mm,
        keep=[*wishes.keep, *moving.sliding],  # lames slide; trimmed they would gape
        progress=part_of(progress, 0.5, 0.9),
    )
    by_name = {plate.name: plate for plate in plates}
    fastened: list[LameFastening] = []
    remarks: list[Finding] = []
    for lames in job.settings.lames:
        for row in _worn_rows(lames, plates):
            made, findings = check_lames(row, by_name, joints, ranges)
            fastened += made
            remarks += findings
    told(0.9, "drawing")
    files = motion_files(joints, plates, swept, trims, trimmed, fastened, moving.pivots)
    files |= _pictures(skin, plates, swept, trims, trimmed)
    free = sum(not one.contacts for one in swept)
    words = (
        f"{free} of {len(swept)} ranges free"
        if swept
        else "the body shows no joints to move, or nothing is asked of those it has"
    )
    found = motion_findings(joints, plates, swept, trims, trimmed)
    return Made(files, (*found, *remarks), words)


def _worn_rows(lames: LamesSection, plates: Sequence[RidingPlate]) -> list[LameRow]:
    """Return a row of lames as worn: one, or one on each side."""
    from fitkit.motion.lames import LameRow
    from fitkit.motion.riding_plate import other_side

    by_patch = {name: [plate for plate in plates if plate.patch == name] for name in lames.of}
    rows = []
    for k in range(max(len(worn) for worn in by_patch.values())):
        names = tuple(worn[min(k, len(worn) - 1)].name for worn in by_patch.values())
        joint = lames.joint if k == 0 else other_side(lames.joint)
        rows.append(LameRow(lames.name, names, joint, lames.hole_mm, lames.gap_mm))
    return rows


def _pictures(
    skin: SkinBody,
    plates: Sequence[RidingPlate],
    swept: Sequence[Swept],
    trims: Sequence[Trim],
    trimmed: Sequence[Swept],
) -> dict[str, bytes]:
    import numpy as np

    from fitkit.export.body_picture import png_of_body
    from fitkit.export.motion_picture import RangeBar, png_of_ranges, png_of_trims
    from fitkit.job.motion_files import TRIMS_PICTURE
    from fitkit.job.settings import file_stem

    after = {one.asked.name: one for one in trimmed}
    bars = [
        RangeBar(
            one.asked.name,
            float(np.degrees(one.asked.angle_rad(0.0))),
            float(np.degrees(one.asked.angle_rad(1.0))),
            float(np.degrees(one.free_rad)),
            float(np.degrees(after.get(one.asked.name, one).free_rad)),
            _bar_words(one),
        )
        for one in swept
    ]
    files = {"joints.png": png_of_body(skin.mesh, paths=_joint_rings(skin.joints))}
    if bars:
        files["ranges.png"] = png_of_ranges(bars)
    if trims:
        files[TRIMS_PICTURE] = png_of_trims(
            skin.mesh,
            [(plate.mesh, plate.patch) for plate in plates],
            [(trim.patch, trim.width_mm, line) for trim in trims for line in trim.lines_mm],
        )
    short = [one for one in swept if one.contacts]
    for one in short[:_MOST_PICTURES]:
        files[f"{file_stem(one.asked.name)}.png"] = _poses(skin, plates, one)
    return files


def _bar_words(one: Swept) -> str:
    import numpy as np

    if not one.contacts:
        return f"free to {np.degrees(one.free_rad):.0f}°"
    first = one.contacts[0]
    wanted = np.degrees(one.asked.angle_rad(1.0))
    return f"{np.degrees(one.free_rad):.0f}° of {wanted:.0f}°: {first.plate} on {first.other}"


def _joint_rings(joints: Mapping[str, Joint]) -> list[tuple[str, Floats]]:
    """Return a ring about each joint, to be seen on the skin."""
    import numpy as np

    turn = np.linspace(0.0, 2 * np.pi, 49)
    rings = []
    for joint in joints.values():
        across = np.linalg.svd(joint.bone[np.newaxis])[2][1:]
        spokes = np.cos(turn)[:, None] * across[0] + np.sin(turn)[:, None] * across[1]
        rings.append((joint.name, joint.centre_mm + 1.25 * joint.blend_mm * spokes))
    return rings


def _poses(skin: SkinBody, plates: Sequence[RidingPlate], one: Swept) -> bytes:
    """Return the body at rest, at the first contact and at the range's end, contacts marked."""
    import numpy as np

    from fitkit.export.motion_picture import PosedPicture, nearest_view, png_of_poses
    from fitkit.motion.pose import pose_of

    by_name = {plate.name: plate for plate in plates}
    numbers = {name: k for k, name in enumerate(dict.fromkeys(plate.patch for plate in plates))}
    first = one.contacts[0]

    def picture(part: float, words: str) -> PosedPicture:
        pose = pose_of(skin.joints, one.asked.turned(part))
        motions = {plate.name: plate.carried(pose) for plate in plates}
        marks = [
            motions[contact.plate].apply(contact.at_mm)
            for contact in one.contacts
            if contact.part <= part
        ]
        return PosedPicture(
            f"{words}, {np.degrees(one.asked.angle_rad(part)):.0f}°",
            skin.posed(pose),
            tuple(
                (plate.mesh.with_vertices(motions[plate.name].apply(plate.mesh.vertices)),
                 numbers[plate.patch])
                for plate in plates
            ),
            np.array(marks).reshape(-1, 3),
        )  # fmt: skip

    poses = [
        picture(0.0, "at rest"),
        picture(first.part, f"{first.plate} on {first.other}"),
        picture(1.0, "asked for"),
    ]
    return png_of_poses(poses, view=nearest_view(_seen_from(skin, by_name[first.plate], one)))


def _seen_from(skin: SkinBody, worn: RidingPlate, one: Swept) -> Floats:
    """Return the way, (3,) float, towards one who sees a movement best.

    Along the axis of what bends or lifts, from the joint's own side or that of the first touch;
    what turns about an upright axis is seen from where it touches.
    """
    import numpy as np

    from fitkit.body.side import Side
    from fitkit.motion.pose import pose_of

    lead, first = one.asked.lead, one.contacts[0]
    near = np.argmin(np.linalg.norm(worn.mesh.vertices - first.at_mm, axis=1))
    pose = pose_of(skin.joints, one.asked.turned(first.part))
    facing = worn.carried(pose).turn(worn.mesh.vertex_normals()[near])
    if abs(float(lead.axis[2])) > _UPRIGHT:
        return facing
    aside = {Side.LEFT: 2.0, Side.RIGHT: -2.0, Side.CENTRE: 0.0}[skin.joints[lead.joint].side]
    towards = float(lead.axis @ facing) + aside * float(lead.axis[0])
    return lead.axis if towards >= 0 else -lead.axis
