"""In which order the plates go together: inner before outer, rivets before what covers them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fitkit.findings import Finding, Severity
from fitkit.shop.joint import Joint
from fitkit.shop.worn_plate import WornPlate

__all__ = ["AssemblyStep", "assembly_order"]

_RIVETS = ("blind", "solid")


@dataclass(frozen=True, slots=True)
class AssemblyStep:
    """One step: a title, what to do, the plates it is about, and their layer."""

    title: str
    lines: tuple[str, ...]
    plates: tuple[int, ...]
    layer: int


def assembly_order(
    plates: Sequence[WornPlate],
    joints: Sequence[Joint],
    over: Mapping[str, Sequence[str]],
    *,
    standing: Mapping[int, Sequence[str]] | None = None,
    held_by: Mapping[int, Sequence[str]] | None = None,
) -> tuple[tuple[AssemblyStep, ...], tuple[Finding, ...]]:
    """Return the steps from the wearer outwards, and what stands in the way.

    Parameters
    ----------
    over
        By patch name, the patches that each lies over.
    standing
        By part number, what stands on the plate (cones, fins and so on), as it is called.
    held_by
        By part number, straps and the like that hold it, in words.
    """
    standing, held_by = standing or {}, held_by or {}
    by_number = {plate.number: plate for plate in plates}
    order, findings = _plates_in_order(plates, joints, over)
    place = {number: at for at, number in enumerate(order)}
    steps: list[AssemblyStep] = []
    for number in order:
        plate = by_number[number]
        ready = _made_ready(plate, joints, standing.get(number, ()))
        if ready:
            steps.append(ready)
        mine = [
            joint
            for joint in joints
            if not joint.is_seam
            and number in (joint.lap, joint.plate)
            and place[joint.lap if joint.plate == number else joint.plate] < place[number]
        ]
        steps += [_riveted(joint, by_number, place) for joint in mine]
        if not any(number in (j.lap, j.plate) for j in joints if not j.is_seam):
            step, told = _hung(plate, by_number, over, held_by.get(number, ()))
            steps.append(step)
            if not told and not plate.twin:
                findings.append(_unheld(plate))
    return tuple(steps), tuple(findings)


def _plates_in_order(
    plates: Sequence[WornPlate], joints: Sequence[Joint], over: Mapping[str, Sequence[str]]
) -> tuple[list[int], list[Finding]]:
    """Return part numbers, each after what it lies over and after the rivets it covers."""
    by_number = {plate.number: plate for plate in plates}
    after: dict[int, set[int]] = {
        plate.number: {
            lower.number for lower in plates if lower.design in over.get(plate.design, ())
        }
        for plate in plates
    }
    covers = [
        (cover, riveted, joint)
        for joint in joints
        for cover in joint.covered_by
        for riveted in {joint.lap, joint.plate}
    ]
    findings: list[Finding] = []
    for cover, riveted, joint in covers:
        if _leads_to(after, riveted, cover):
            message = (
                f"'{by_number[cover].called}' covers rivets along '{joint.line}' that join "
                f"'{by_number[joint.lap].called}' and '{by_number[joint.plate].called}', but has "
                "to be there before them."
            )
            finding = Finding(
                "rivets-covered",
                Severity.WARNING,
                by_number[joint.lap].title,
                message,
                "Move the row, take screws that go in from inside, or let it lie over both.",
            )
            if finding not in findings:
                findings.append(finding)
        else:
            after[cover].add(riveted)
    order: list[int] = []
    waiting = sorted(by_number, key=lambda number: (by_number[number].layer, number))
    while waiting:
        number = next(one for one in waiting if after[one] <= set(order))
        waiting.remove(number)
        order.append(number)
    return order, findings


def _leads_to(after: Mapping[int, set[int]], start: int, goal: int) -> bool:
    """Whether ``start`` waits, at once or through others, for ``goal``."""
    seen: set[int] = set()
    front = [start]
    while front:
        at = front.pop()
        if at == goal:
            return True
        if at not in seen:
            seen.add(at)
            front += after[at]
    return False


def _made_ready(
    plate: WornPlate, joints: Sequence[Joint], standing: Sequence[str]
) -> AssemblyStep | None:
    lines = (
        [f"set on it: {', '.join(standing)}, while its inside can be reached"] if standing else []
    )
    lines += [
        f"close '{joint.line}': {_rivets(joint)}"
        for joint in joints
        if joint.is_seam and joint.lap == plate.number
    ]
    if not lines:
        return None
    return AssemblyStep(f"Make ready {plate.called}", tuple(lines), (plate.number,), plate.layer)


def _riveted(
    joint: Joint, plates: Mapping[int, WornPlate], place: Mapping[int, int]
) -> AssemblyStep:
    lap, plate = plates[joint.lap], plates[joint.plate]
    lines = [f"along '{joint.line}': {_rivets(joint)}"]
    if joint.later:
        lines.append(f"drill '{plate.title}' through the lap: ends first, clamp, then between")
    lines.append("pin the ends and every fourth hole first; then from the middle outwards")
    before = [
        plates[cover].called
        for cover in joint.covered_by
        if place[cover] > max(place[joint.lap], place[joint.plate])
    ]
    if before:
        lines.append(f"before {', '.join(before)} goes on: it covers rivets of this row")
    if joint.rivet.kind == "solid":
        lines.append("both sides must be reached: hold the bucking bar inside")
    return AssemblyStep(
        f"{'Rivet' if joint.rivet.kind in _RIVETS else 'Screw'} {lap.called} to {plate.called}",
        tuple(lines),
        (lap.number, plate.number),
        max(lap.layer, plate.layer),
    )


def _rivets(joint: Joint) -> str:
    count = len(joint.at_mm)
    return (
        f"{count} {joint.rivet.noun}{'s' * (count > 1)} "
        f"{joint.rivet.size_in_words(joint.length_mm)}, hole {joint.drill_mm:g} mm"
    )


def _hung(
    plate: WornPlate,
    plates: Mapping[int, WornPlate],
    over: Mapping[str, Sequence[str]],
    held_by: Sequence[str],
) -> tuple[AssemblyStep, bool]:
    below = [
        other.called
        for other in plates.values()
        if other.design in over.get(plate.design, ()) and other.side in (plate.side, "centre")
    ]
    lines = [f"lies over {', '.join(below)}"] if below else []
    lines += [f"held by {', '.join(held_by)}"] if held_by else []
    if not held_by:
        lines.append("how it is held is not told: straps, laces, rivets or a seam of its own")
    step = AssemblyStep(f"Hang {plate.called}", tuple(lines), (plate.number,), plate.layer)
    return step, bool(held_by)


def _unheld(plate: WornPlate) -> Finding:
    return Finding(
        "plate-not-held",
        Severity.NOTE,
        plate.design,
        "Nothing in the job says what holds it.",
        "Add rivets to one of its edges, or a [[hardware]] row such as a strap on it.",
    )
