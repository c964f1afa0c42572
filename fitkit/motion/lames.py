"""Lames: a row of overlapping strips that share a joint's turn between them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.body.joints import Joint
from fitkit.errors import DesignError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh_scene import MeshScene
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.pose import pose_of
from fitkit.motion.riding_plate import RidingPlate, segment_shares

__all__ = [
    "LameFastening",
    "LameRow",
    "LameStrip",
    "check_lames",
    "lame_count",
    "lame_shares",
    "lay_strips",
]

_STEPS = 13
_COVERED_MM = 6.0
_SLIPPED_MM = 0.5


@dataclass(frozen=True, slots=True)
class LameStrip:
    """One strip: from where to where across the row, mm from its first line."""

    start_mm: float
    end_mm: float


def lay_strips(length_mm: float, count: int, overlap_mm: float) -> tuple[LameStrip, ...]:
    """Return strips of one width that fill a length, each lying over the next by the overlap.

    Raises
    ------
    DesignError
        When there is less than one strip, or the overlap leaves nothing of them.
    """
    if count < 1 or overlap_mm < 0:
        raise DesignError(
            f"{count} lames that overlap by {overlap_mm:g} mm cannot be laid out.",
            "Give at least one lame and an overlap of 0 mm or more.",
        )
    width = (length_mm + (count - 1) * overlap_mm) / count
    if width <= overlap_mm + 1e-9 and count > 1:
        raise DesignError(
            f"{count} lames over {length_mm:.0f} mm would be {width:.0f} mm wide and overlap by "
            f"{overlap_mm:g} mm.",
            "Take fewer lames or a smaller overlap.",
        )
    step = width - overlap_mm
    return tuple(LameStrip(k * step, k * step + width) for k in range(count))


def lame_count(turn_rad: float, reach_mm: float, overlap_mm: float, cover_mm: float) -> int:
    """Return how few lames keep covered while a joint turns.

    Between the plates before and beyond the joint n lames part the turn into n + 1 equal ones; at
    the reach from the axis each moves an edge by 2 r sin(turn / 2 (n + 1)), which may use up the
    overlap but for the cover.

    Raises
    ------
    DesignError
        When the overlap is no more than the cover that has to stay.
    """
    spare = overlap_mm - cover_mm
    if spare <= 0:
        raise DesignError(
            f"An overlap of {overlap_mm:g} mm leaves nothing to slide when {cover_mm:g} mm have to "
            "stay covered.",
            "Give a larger overlap.",
        )
    if spare >= 2.0 * reach_mm:
        return 1
    each = 2.0 * np.arcsin(spare / (2.0 * reach_mm))
    return max(int(np.ceil(turn_rad / each - 1e-9)) - 1, 1)


def lame_shares(joints: Mapping[str, Joint], joint: str, count: int) -> list[dict[str, float]]:
    """Return what each lame of a row rides on, from the trunk's side out: even shares of the turn.

    Raises
    ------
    DesignError
        When the body has no such joint.
    """
    if joint not in joints:
        raise DesignError(
            f"This body has no joint called '{joint}'.", f"Use one of: {', '.join(joints)}."
        )
    carrier = segment_shares(joints, joints[joint].holds)
    return [{**carrier, joint: (k + 1) / (count + 1)} for k in range(count)]


@dataclass(frozen=True, slots=True, eq=False)
class LameRow:
    """A row of lames as worn.

    Attributes
    ----------
    name
        Of the row.
    plates
        Names from the trunk's side out.
    joint
        What they share the turn of.
    hole_mm
        Diameter of the holes.
    most_gap_mm
        How far an edge may slip out from under its neighbour.
    """

    name: str
    plates: tuple[str, ...]
    joint: str
    hole_mm: float
    most_gap_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class LameFastening:
    """Where one lame is fastened to the next.

    Attributes
    ----------
    upper, lower
        The two plates.
    pivots_mm
        (2, 3) float mm at rest: on the joint's axis, one at each side.
    slide_mm
        (3,) float mm at rest: amid the overlap, farthest from the axis.
    slot_mm
        Length of the slot there over its ends: the travel and the hole.
    slot_ends_mm
        (2, 3) float mm at rest: between which places of the upper plate the slide goes.
    gap_mm
        How far the lower one's edge slips out from under the upper one at most.
    """

    upper: str
    lower: str
    pivots_mm: Floats
    slide_mm: Floats
    slot_mm: float
    slot_ends_mm: Floats
    gap_mm: float


def check_lames(
    row: LameRow,
    plates: Mapping[str, RidingPlate],
    joints: Mapping[str, Joint],
    ranges: Sequence[AskedRange],
) -> tuple[tuple[LameFastening, ...], tuple[Finding, ...]]:
    """Return where the lames of a row are fastened, and what opens in the ranges of its joint."""
    own = [one for one in ranges if any(move.joint == row.joint for move, _ in one.movements)]
    axis = next((one.lead.axis for one in own), None)
    if axis is None:
        note = Finding(
            "lames-not-moved",
            Severity.NOTE,
            row.name,
            f"Nothing is asked of the {row.joint}, so the lames of '{row.name}' are not moved.",
        )
        return (), (note,)
    made, findings = [], []
    for upper, lower in zip(row.plates, row.plates[1:], strict=False):
        one = _fastening(row, plates[upper], plates[lower], joints, axis, own)
        if one is None:
            findings.append(
                Finding(
                    "lames-apart",
                    Severity.WARNING,
                    row.name,
                    f"The {lower} does not lie under the {upper} anywhere.",
                    "Give the row an overlap: fitkit lames lays it out again.",
                )
            )
            continue
        made.append(one)
        if one.gap_mm > row.most_gap_mm:
            findings.append(
                Finding(
                    "lames-gap",
                    Severity.WARNING,
                    row.name,
                    f"In its range the {lower} slips out from under the {upper} by "
                    f"{one.gap_mm:.0f} mm.",
                    "Take more lames or a larger overlap.",
                    one.gap_mm,
                    row.most_gap_mm,
                    "mm",
                )
            )
    return tuple(made), tuple(findings)


def _fastening(
    row: LameRow,
    upper: RidingPlate,
    lower: RidingPlate,
    joints: Mapping[str, Joint],
    axis: Floats,
    ranges: Sequence[AskedRange],
) -> LameFastening | None:
    over = MeshScene(upper.mesh)
    spots = lower.spots_mm
    at_rest = np.linalg.norm(spots - over.nearest_mm(spots), axis=1)
    thick = 0.5 * (upper.thickness_mm + lower.thickness_mm)
    covered = np.flatnonzero(at_rest < thick + _COVERED_MM)
    if len(covered) < 3:
        return None
    centre = joints[row.joint].centre_mm
    arm = spots[covered] - centre
    off = np.linalg.norm(arm - np.outer(arm @ axis, axis), axis=1)
    along = arm @ axis
    middle = 0.5 * (along.min() + along.max())
    sides = [np.flatnonzero(along >= middle), np.flatnonzero(along <= middle)]
    pivots = [spots[covered[side[off[side].argmin()]]] for side in sides]
    far = covered[int(off.argmax())]
    rim = covered[covered < len(lower.feelers_mm)]
    gap = 0.0
    slides = [spots[far]]
    for asked in ranges:
        for part in np.linspace(0.0, 1.0, _STEPS)[1:].tolist():
            pose = pose_of(joints, asked.turned(part))
            motion = upper.carried(pose).inverse() @ lower.carried(pose)
            slides.append(motion.apply(spots[far]))
            if len(rim):
                moved = motion.apply(spots[rim])
                apart = np.linalg.norm(moved - over.nearest_mm(moved), axis=1)
                gap = max(gap, float((apart - at_rest[rim]).max()))
    ends = _track(np.array(slides))
    return LameFastening(
        upper.name,
        lower.name,
        np.array(pivots),
        spots[far],
        float(np.linalg.norm(ends[1] - ends[0])) + row.hole_mm,
        ends,
        gap if gap > _SLIPPED_MM else 0.0,
    )


def _track(places: Floats) -> Floats:
    """(2, 3) float mm: ends of the straight way that holds places, the first of them at rest."""
    off = places - places[0]
    farthest = off[int(np.linalg.norm(off, axis=1).argmax())]
    way = farthest / max(float(np.linalg.norm(farthest)), 1e-300)
    along = off @ way
    ends: Floats = places[0] + np.array([[along.min()], [along.max()]]) * way
    return ends
