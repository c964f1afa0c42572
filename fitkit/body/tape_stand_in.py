"""A stand-in from the tape list alone: a plain body, of which no surface was measured."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from fitkit.body.adapt import adapt
from fitkit.body.body import Body
from fitkit.body.body_part import BodyPart
from fitkit.body.plain_body import plain_body
from fitkit.body.stand_in_part import part_of_body
from fitkit.body.survey import SurveyGroup, filled_tape_mm, survey_spread_mm
from fitkit.body.tape_measure import tape_measures
from fitkit.findings import Finding, Severity

__all__ = ["tape_stand_in"]

_CELL_MM = 9.0
_NOT_MEASURED_MM = 50.0
_HOPE_SHARE = 0.1
# The survey's chest breadth leaves out the muscles that a body's own breadth takes in.
_OTHERWISE_MEASURED = ("chest breadth",)


def tape_stand_in(
    tape_mm: Mapping[str, float],
    *,
    group: SurveyGroup,
    part: BodyPart = "torso",
    cell_mm: float = _CELL_MM,
    progress: Callable[[float, str], None] | None = None,
) -> Body:
    """Build a body from a tape list, filling what it leaves out from a published survey.

    A whole body is built of plain solids to the list and to what people of those measures have
    on average, then reshaped: to what is given exactly, to the rest as near as that allows.

    Parameters
    ----------
    tape_mm
        Lengths in mm by name: stature, chest, waist, hip, neck, upper arm, ... ; what the body
        has no measure for is told in a finding.
    group
        Whose sizes fill in what is missing.
    part
        What of the whole body is kept; it stays at its place and height.
    cell_mm
        Size of the cells it is meshed in.

    Returns
    -------
    body
        Marked as not measured.

    References
    ----------
    C. C. Gordon et al., NATICK/TR-15/007, 2014, see :mod:`fitkit.body.survey`.
    """
    tell = progress or (lambda _fraction, _words: None)
    whole, filled = filled_tape_mm(tape_mm, group)
    tell(0.05, "building a plain body")
    start = plain_body(whole, cell_mm=cell_mm)
    hoped = {
        name: (whole[name], _HOPE_SHARE * survey_spread_mm(name, group))
        for name in filled
        if name not in _OTHERWISE_MEASURED
    }

    def partly(fraction: float, words: str) -> None:
        tell(0.3 + 0.6 * fraction, words)

    if part != "torso":
        adapted = adapt(start, tape_mm, hoped_mm=hoped, progress=partly).body
        tell(0.9, f"taking out the {part}")
        return _marked(part_of_body(adapted, part), filled, group)
    # A torso has handles of its own, and its arms are taped where they are shorter.
    torso = part_of_body(start, part)
    known = {_plain(measure.name) for measure in tape_measures(start)}
    own = {_plain(measure.name) for measure in tape_measures(torso)}
    asked = {name: length for name, length in tape_mm.items() if _plain(name) not in known - own}
    adapted = adapt(torso, asked, hoped_mm=hoped, progress=partly).body
    return _marked(adapted, filled, group)


def _plain(name: str) -> str:
    words = " ".join(name.lower().split())
    return words.removeprefix("left ").removeprefix("right ")


def _marked(body: Body, filled: tuple[str, ...], group: SurveyGroup) -> Body:
    """Return the body marked as not measured, the survey's part in it told."""
    kept = [f for f in body.findings if f.code not in ("body-adapted", "adapt-far")]
    words = "This body was built from the tape list; no surface of the wearer was measured."
    shown = {_plain(measure.name) for measure in tape_measures(body)}
    named = [name for name in filled if name in shown]
    if named:
        words += (
            f" Not on the list and filled in from the {group} of a published survey (ANSUR II, "
            f"2012): {', '.join(named)}; and what no tape is laid for."
        )
    finding = Finding(
        "body-not-measured",
        Severity.WARNING,
        "body",
        words,
        "Draw on it, but try card on the wearer before anything rigid is cut.",
    )
    trust = np.full(len(body.mesh.vertices), _NOT_MEASURED_MM)
    return replace(body, trust_mm=trust, findings=(finding, *kept))
