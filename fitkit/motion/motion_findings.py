"""What the maker is told about plates that stop a joint."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.body.joints import Joint
from fitkit.findings import Finding, Severity
from fitkit.motion.place_words import edge_words, fold_words
from fitkit.motion.riding_plate import RidingPlate, other_side
from fitkit.motion.sweep import BODY, Contact, Swept
from fitkit.motion.trim import Trim

__all__ = ["carrier_name", "motion_findings"]

_UNSURE = 0.35


def carrier_name(plate: RidingPlate, joints: Mapping[str, Joint]) -> str:
    """Return the segment that a plate rides on."""
    carried = [joint for name, joint in joints.items() if plate.shares.get(name, 0.0) >= 1.0]
    if carried:
        return carried[-1].moves
    return next(iter(joints.values())).holds if joints else "the body"


def motion_findings(
    joints: Mapping[str, Joint],
    plates: Sequence[RidingPlate],
    swept: Sequence[Swept],
    trims: Sequence[Trim] = (),
    trimmed: Sequence[Swept] = (),
) -> tuple[Finding, ...]:
    """Return one finding for each range that is not free, and what was guessed on the way.

    Parameters
    ----------
    trims, trimmed
        What :func:`fitkit.motion.trim.plan_trims` returned.
    """
    worn = _Worn(joints, {plate.name: plate for plate in plates}, trims,
                 {one.asked.name: one for one in trimmed})  # fmt: skip
    stopped = {one.asked.name: _stopped(one, worn) for one in swept if one.contacts}
    found = _both_sides_once(stopped)
    told: set[tuple[str, str]] = set()
    for plate in plates:
        for joint in plate.unsure:
            if (plate.patch, joint.split()[-1]) in told:
                continue
            told.add((plate.patch, joint.split()[-1]))
            found.append(
                Finding(
                    "ride-unsure",
                    Severity.WARNING,
                    plate.patch,
                    f"The {plate.name} bridges the {joint}; it is taken to ride on the "
                    f"{carrier_name(plate, joints)}.",
                    f"Say what it is fastened to, as in [motion.rides]: "
                    f'"{plate.patch}" = "{joints[joint].holds}" or "{joints[joint].moves}".',
                )
            )
    unsure = [joint for joint in joints.values() if joint.confidence < _UNSURE]
    if unsure:
        names = ", ".join(joint.name for joint in unsure)
        found.append(
            Finding(
                "joint-unsure",
                Severity.NOTE,
                names,
                f"The body hardly shows where the {names} turns: "
                + "; ".join(f"{joint.name} {joint.source}" for joint in unsure)
                + ".",
                "Look at joints.png; put a centre right under [motion.joints].",
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Worn:
    """What a finding speaks of: joints, plates by name, trims and how far they let a range go."""

    joints: Mapping[str, Joint]
    plates: Mapping[str, RidingPlate]
    trims: Sequence[Trim]
    after: Mapping[str, Swept]


def _both_sides_once(stopped: Mapping[str, Finding]) -> list[Finding]:
    """Return the findings, those of both sides told once where they are alike."""
    found = []
    for name, finding in stopped.items():
        twin = stopped.get(other_side(name))
        alike = twin is not None and twin is not finding and _mirrored(twin.message, finding)
        if not alike:
            found.append(finding)
        elif name.startswith("left "):
            found.append(replace(finding, message=f"{finding.message[:-1]}; the right likewise."))
    return found


def _mirrored(message: str, finding: Finding) -> bool:
    sides = {"left": "right", "right": "left"}
    swapped = re.sub(r"\b(left|right)\b", lambda side: sides[side[0]], message)
    return swapped == finding.message


def _stopped(one: Swept, worn: _Worn) -> Finding:
    plates, asked = worn.plates, one.asked
    first = one.contacts[0]
    helping = [trim for trim in worn.trims if asked.name in trim.frees]
    cut = {trim.patch for trim in helping}
    plate, other = first.plate, first.other
    if other != BODY and plates[plate].patch not in cut and plates[other].patch in cut:
        plate, other = other, plate
    where = edge_words(plates[plate].mesh, plates[plate].side, first.at_mm)
    angle, wanted = np.degrees(one.free_rad), np.degrees(asked.angle_rad(1.0))
    meets = "presses into the body" if other == BODY else f"meets the {other}"
    fold = next(
        (
            words
            for movement, _ in asked.movements
            if _parts(movement.joint, plates[plate], plates.get(other))
            and (words := fold_words(worn.joints[movement.joint], movement, first.at_mm))
        ),
        "",
    )
    narrow = f", for there is not enough gap {fold}" if fold else ""
    others = len({(c.plate, c.other) for c in one.contacts}) - 1
    more = f"; {others} more {'pair' if others == 1 else 'pairs'} further on" if others else ""
    what = f"the {asked.name} at {angle:.0f}°"
    if len(asked.movements) > 1:
        what = f"'{asked.name}' at {angle:.0f}° of {asked.lead.name}"
    return Finding(
        "motion-stopped",
        Severity.WARNING,
        plates[plate].patch,
        f"The {plate} stops {what}, wanted {wanted:.0f}° ({asked.because}): its {where} edge "
        f"{meets}{narrow}{more}.",
        _remedy(helping, worn.after.get(asked.name), plates),
        float(angle),
        float(wanted),
        "°",
    )


def _parts(joint: str, plate: RidingPlate, other: RidingPlate | None) -> bool:
    """Tell whether a joint moves a plate against another one, or against the body beside it."""
    return other is None or plate.shares.get(joint, 0.0) != other.shares.get(joint, 0.0)


def _remedy(helping: Sequence[Trim], after: Swept | None, plates: Mapping[str, RidingPlate]) -> str:
    if not helping or after is None:
        return _OTHER_MEANS
    said = []
    for trim in helping:
        worn = next(plate for plate in plates.values() if plate.patch == trim.patch)
        edge = edge_words(worn.mesh, worn.side, trim.middle_mm)
        said.append(
            f"{trim.width_mm:.0f} mm at the {edge} edge of the {trim.patch} "
            f"({trim.area_mm2 / 100:.0f} cm², {100 * trim.share:.0f} % of it)"
        )
    words = f"Trim {_listed(said)}"
    if not after.contacts:
        return f"{words}: then it is free."
    left: Contact = after.contacts[0]
    meets = "the body" if left.other == BODY else f"the {left.other}"
    return (
        f"{words}: then it goes to {np.degrees(after.free_rad):.0f}°, where the {left.plate} "
        f"meets {meets}. {_OTHER_MEANS}"
    )


def _listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


_OTHER_MEANS = (
    "Trimming alone does not free it: hang the plate on a pivot, let it ride on the other side of "
    "the joint, divide it into lames, or give it more clearance."
)
