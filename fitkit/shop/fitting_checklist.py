"""What to try, in which order, when the plates are first worn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.body.body import SegmentAxis
from fitkit.shop.worn_plate import WornPlate

__all__ = ["FittingCheck", "fitting_checklist"]


@dataclass(frozen=True, slots=True)
class FittingCheck:
    """One thing to try: what it is about, and what to do and look for."""

    where: str
    attempt: str


_FIRST = (
    FittingCheck(
        "all", "edges and holes deburred: run a nylon stocking over them, it must not catch"
    ),
    FittingCheck(
        "all", "wear what will be worn under it, padding too; fit on the wearer, not on air"
    ),
)
_LAST = (
    FittingCheck("all", "a helper takes every piece off within a minute, the wearer doing nothing"),
    FittingCheck(
        "all", "walk, sit, kneel, lie down and get up alone; listen for plates that click"
    ),
    FittingCheck("all", "wear it twenty minutes: red marks, numb fingers or heat mean change it"),
    FittingCheck("all", "mark in pencil what rubs or stands off, and bring it back on card"),
)
_BY_AXIS: dict[str, tuple[str, ...]] = {
    "trunk": (
        "breathe in fully and out; shout",
        "sit down: nothing digs into the thighs or lifts the throat",
        "bend forward, back and sideways",
    ),
    "neck": (
        "swallow, look up, down and over both shoulders",
        "two fingers between throat and edge, none of it sharp",
    ),
    "head": (
        "nothing before the eyes; look down at the feet",
        "call out and be understood; breathe through the mouth",
    ),
    "arm": (
        "raise the arm overhead, reach across the chest, touch the back of the head",
        "bend the elbow fully: its inside and the armpit stay free of edges",
        "make a fist and turn the hand: fingers stay warm and pink",
    ),
    "leg": (
        "squat and kneel: the back of the knee and the groin stay free of edges",
        "climb a step; swing the leg without knocking the other",
    ),
}


def fitting_checklist(
    plates: Sequence[WornPlate], axes: Mapping[str, SegmentAxis]
) -> tuple[FittingCheck, ...]:
    """Return what to try, by the parts of the body that the plates are worn on.

    Common practice, no source.
    """
    worn: dict[str, list[WornPlate]] = {}
    for plate in plates:
        worn.setdefault(_nearest_axis(plate, axes), []).append(plate)
    checks = list(_FIRST)
    for key, tries in _BY_AXIS.items():
        names = [name for name in worn if name == key or name.endswith(f" {key}")]
        if not names:
            continue
        here = [plate for name in names for plate in worn[name]]
        numbers = ", ".join(str(plate.number) for plate in sorted(here, key=lambda p: p.number))
        checks += [FittingCheck(f"{key} ({numbers})", one) for one in tries]
    return (*checks, *_LAST)


def _nearest_axis(plate: WornPlate, axes: Mapping[str, SegmentAxis]) -> str:
    """Return the name of the axis that the plate's middle lies nearest to for its girth."""
    areas = plate.mesh.face_areas_mm2()
    middle = areas @ plate.mesh.corners.mean(axis=1) / areas.sum()

    def off(axis: SegmentAxis) -> float:
        along = float(np.clip((middle - axis.start_mm) @ axis.direction / axis.length_mm, 0.0, 1.0))
        return float(np.linalg.norm(middle - axis.point_at_mm(along)))

    return min(axes, key=lambda name: off(axes[name])) if axes else "trunk"
