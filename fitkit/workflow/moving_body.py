"""A job's body with its joints, and the plates that ride on it, as they are swept and looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitkit.errors import JobError

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.body.joints import Joint
    from fitkit.job.job_folder import Job
    from fitkit.motion.asked_range import AskedRange
    from fitkit.motion.pivot import PlacedPivot
    from fitkit.motion.riding_plate import PivotRide, RidingPlate
    from fitkit.motion.skin_body import SkinBody
    from fitkit.patch.patch import Patch

__all__ = ["MovingBody", "joints_of", "moving_body"]


@dataclass(frozen=True, slots=True, eq=False)
class MovingBody:
    """What moves.

    Attributes
    ----------
    skin
        The body's surface, coarse enough to be moved quickly, with the joints that move it.
    plates
        Every plate as worn.
    ranges
        What is asked of the joints.
    pivots
        Where plates hang on pivots.
    sliding
        Names of the patches that are lames and share a joint's turn.
    """

    skin: SkinBody
    plates: tuple[RidingPlate, ...]
    ranges: tuple[AskedRange, ...]
    pivots: tuple[PlacedPivot, ...]
    sliding: tuple[str, ...]


def joints_of(job: Job, body: Body) -> dict[str, Joint]:
    """Return the joints that a body shows, centres where ``job.toml`` puts them.

    Raises
    ------
    DesignError
        When ``job.toml`` names a joint that the body does not show.
    """
    import numpy as np

    from fitkit.body.joints import find_joints, with_joint_centres

    centres = {name: np.array(at) for name, at in job.settings.motion.joints.items()}
    return with_joint_centres(find_joints(body), centres)


def moving_body(job: Job) -> MovingBody:
    """Return the body and the plates of a job whose patches are cut, and what is asked of them.

    Raises
    ------
    JobError
        When a file is missing or damaged, or a pivot names a patch or joint that is not there.
    DesignError
        When ``job.toml`` names a joint, a movement or a need that is not there.
    """
    from fitkit.body.coarse_skin import with_coarse_skin
    from fitkit.body.skin_shares import skin_shares
    from fitkit.job.body_files import read_body
    from fitkit.job.designs import patch_designs
    from fitkit.job.patch_files import read_patch
    from fitkit.motion.asked_range import asked_ranges
    from fitkit.motion.lames import lame_shares
    from fitkit.motion.movement import movements_of
    from fitkit.motion.riding_plate import riding_plates
    from fitkit.motion.skin_body import SkinBody

    wishes = job.settings.motion
    whole = read_body(job.result_folder("body"))
    joints = joints_of(job, whole)
    body = with_coarse_skin(whole)
    shares = skin_shares(body, joints)
    joints = {name: joint for name, joint in joints.items() if name in shares}
    folder = job.result_folder("patches")
    patches = [read_patch(folder, design) for design in patch_designs(job.settings)]
    shared = {
        name: share
        for row in job.settings.lames
        for name, share in zip(row.of, lame_shares(joints, row.joint, len(row.of)), strict=True)
    }
    placed, swings = _pivots(job, whole, patches, joints)
    carriers = {one.patch: joints[one.joint].holds for one in placed}
    plates = riding_plates(
        patches,
        body.mesh,
        shares,
        joints,
        rides={**carriers, **wishes.rides},
        shared=shared,
        pivots=swings,
    )
    ranges = asked_ranges(
        movements_of(joints),
        source=wishes.norms,
        wanted_deg=wishes.wanted,
        needs=wishes.needs,
        own_needs={need.name: need.takes for need in job.settings.need},
    )
    return MovingBody(
        SkinBody(body.mesh, joints, shares), tuple(plates), ranges, tuple(placed), tuple(shared)
    )


def _pivots(
    job: Job, body: Body, patches: Sequence[Patch], joints: Mapping[str, Joint]
) -> tuple[list[PlacedPivot], dict[str, PivotRide]]:
    """Return the pivots as placed, and how their patches swing by name.

    Raises
    ------
    JobError
        When a row names a patch or a joint that is not there.
    """
    from fitkit.job.designs import anchor_of
    from fitkit.motion.movement import movements_of
    from fitkit.motion.pivot import PlacedPivot, best_pivot, pivot_holes
    from fitkit.motion.riding_plate import PivotRide
    from fitkit.patch.anchor import place_anchor
    from fitkit.patch.form import Form

    by_name = {patch.design.name: patch for patch in patches}
    placed, swings = [], {}
    for row in job.settings.pivot:
        if row.patch not in by_name or row.joint not in joints:
            raise JobError(
                f"There is no patch '{row.patch}' or no joint '{row.joint}' for a pivot.",
                f"Patches: {', '.join(by_name)}. Joints: {', '.join(joints) or 'none found'}.",
            )
        mesh = by_name[row.patch].mesh
        moves = movements_of({row.joint: joints[row.joint]})
        axis = next(iter(moves.values())).axis
        told = None
        if row.at is not None:
            told = place_anchor(Form(body.mesh, 0.0, body), anchor_of(row.at)).point_mm
        fit = best_pivot(mesh, axis, told)
        holes = pivot_holes(mesh, fit.at_mm, axis)
        placed.append(PlacedPivot(row.patch, row.joint, row.screw_mm, holes, fit.rise_mm))
        swings[row.patch] = PivotRide(fit.at_mm, axis, row.joint, row.share)
    return placed, swings
