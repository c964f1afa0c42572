"""What a design was drawn on: the landmarks of the body, and where its anchors and lines lay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.body.body import Landmark
from fitkit.findings import THIS_JOB, Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.patch.anchor import place_anchors
from fitkit.patch.design import GeodesicLine, LineAnchor, RoundLine, TapeLineDesign, ThroughLine
from fitkit.patch.form import Form
from fitkit.patch.landmark_map import LandmarkMap
from fitkit.patch.place_in_words import place_in_words
from fitkit.patch.tape_line import TapeLine

__all__ = ["DrawnOn", "drawn_on", "moved_findings", "strayed_findings"]

# Of a body 1.7 m tall: what a maker would see at once on a plate; common practice, no source.
_STRAYED_MM = 25.0
_LENGTH_OFF = 0.15
_MOVED_MM = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class DrawnOn:
    """A body's landmarks, and the design as it lay on that body.

    Attributes
    ----------
    landmarks
        By name.
    anchors_mm
        (N, 3) float mm by line: where its anchors lie; those on other lines are left out.
    lengths_mm
        Length by line.
    """

    landmarks: Mapping[str, Landmark]
    anchors_mm: Mapping[str, Floats]
    lengths_mm: Mapping[str, float]


def drawn_on(form: Form, designs: Sequence[TapeLineDesign], lines: Sequence[TapeLine]) -> DrawnOn:
    """Return what is to be remembered of a design laid on a form."""
    anchors: dict[str, Floats] = {}
    for design in designs:
        if isinstance(design, GeodesicLine | ThroughLine):
            wanted = [one for one in design.through if not isinstance(one, LineAnchor)]
        elif isinstance(design, RoundLine) and not isinstance(design.centre, LineAnchor):
            wanted = [design.centre]
        else:
            continue
        points = [place.point_mm for place in place_anchors(form, wanted)]
        anchors[design.name] = np.array(points).reshape(-1, 3)
    return DrawnOn(
        form.body.landmarks, anchors, {line.name: line.path.length_mm() for line in lines}
    )


def moved_findings(before: DrawnOn, landmarks: Mapping[str, Landmark]) -> tuple[Finding, ...]:
    """Tell that the body changed under a design whose heights are still those of the body before.

    More than 15 mm at a landmark is no longer how one stands or is scanned.
    """
    moved = {
        name: float(np.linalg.norm(landmarks[name].at_mm - mark.at_mm))
        for name, mark in before.landmarks.items()
        if name in landmarks
    }
    if not moved or max(moved.values()) <= _MOVED_MM:
        return ()
    name = max(moved, key=lambda one: moved[one])
    return (
        Finding(
            "body-changed",
            Severity.NOTE,
            "tape lines",
            f"The body changed since the lines were drawn: the landmark '{name}' lies "
            f"{moved[name]:.0f} mm from where it was, and heights in mm stayed as they are.",
            "Look at patches.png; to take the lines along by landmarks run: "
            f"fitkit carry {THIS_JOB}",
            number=moved[name],
            limit=_MOVED_MM,
            unit="mm",
        ),
    )


def strayed_findings(before: DrawnOn, now: DrawnOn, form: Form) -> tuple[Finding, ...]:
    """Tell which lines of a carried design lie elsewhere than the landmarks would have them.

    An anchor strays when it lies farther than 25 mm from where the map of the landmarks takes
    it, a line when its length differs by more than 15 % from the bodies' scale.
    """
    carried = LandmarkMap(before.landmarks, now.landmarks)
    findings = []
    for name, places in before.anchors_mm.items():
        there = now.anchors_mm.get(name)
        if there is None or len(there) != len(places) or len(places) == 0:
            continue
        off = np.linalg.norm(carried.point_mm(places) - there, axis=1)
        worst = int(off.argmax())
        if off[worst] > _STRAYED_MM:
            findings.append(
                Finding(
                    "line-strayed",
                    Severity.WARNING,
                    name,
                    f"The line '{name}' lies {off[worst]:.0f} mm from where the landmarks would "
                    f"have it, {place_in_words(form.body, there[worst])}.",
                    "Look at it in patches.png and move that anchor.",
                    number=float(off[worst]),
                    limit=_STRAYED_MM,
                    unit="mm",
                )
            )
    for name, length in before.lengths_mm.items():
        ratio = now.lengths_mm.get(name, 0.0) / (length * carried.scale) - 1.0
        if name in now.lengths_mm and abs(ratio) > _LENGTH_OFF:
            findings.append(
                Finding(
                    "line-strayed",
                    Severity.WARNING,
                    name,
                    f"The line '{name}' is {now.lengths_mm[name]:.0f} mm long here; by the bodies' "
                    f"scale it would be {length * carried.scale:.0f} mm ({100 * ratio:+.0f} %).",
                    "Look at it in patches.png: it may run another way on this body.",
                    number=float(ratio),
                    limit=_LENGTH_OFF,
                )
            )
    return tuple(findings)
