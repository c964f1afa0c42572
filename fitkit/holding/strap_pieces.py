"""The pieces of a strap, flat: lengths, holes, folds and how far it can be set."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.holding.strap_design import StrapDesign
from fitkit.materials.rivet import Rivet, rivet_named

__all__ = [
    "POST",
    "RIVETS",
    "Setting",
    "StrapFit",
    "StrapPiece",
    "end_mm",
    "fit_strap",
    "hole_mm",
    "least_pitch_mm",
    "seat_mm",
    "tape_mm",
    "too_short_mm",
]

POST = "post 5"
"""The screw post that a strap is closed on."""

RIVETS = 2
"""At each end, one behind the other: a single one lets a strap turn. Common practice, no source."""

# All common practice, no source: the buckle's bar from the nearest rivet, by the strap's width; the
# bar's own diameter; what is left to hold beyond the last hole; how long the point is, by the
# width; how much tape lies on tape at least; the prong's slot, by the width; how near to its
# rivets a buckle may come.
_BAR_SHARE, _BAR_LEAST_MM = 0.75, 15.0
_BAR_MM = 4.0
_TAIL_SHARE, _TAIL_LEAST_MM = 2.5, 50.0
_POINT_SHARE = 0.6
_TAPE_MM = 50.0
_SLOT_SHARE = 0.8
_RIVETS_CLEAR_MM = 10.0
# Holes nearer than so many of their own diameters tear into each other; common practice, no source.
_PITCH_SHARE = 3.0
# Prong holes by the width of the strap up to which they serve; common practice, no source.
_PRONG_MM = ((16.0, 3.0), (25.0, 4.0), (math.inf, 5.0))


@dataclass(frozen=True, slots=True)
class Setting:
    """How long a strap can be set, from fastening to fastening.

    Attributes
    ----------
    worn_mm
        Over clothing, padding and air as designed.
    shortest_mm, longest_mm
        On the bare wearer less the play; as worn and the play more.
    reach_mm
        Its shortest and longest hole, which take in both; the same where it has no holes.
    """

    worn_mm: float
    shortest_mm: float
    longest_mm: float
    reach_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class StrapPiece:
    """One piece to cut.

    Attributes
    ----------
    name
        Such as ``"side strap"`` or ``"side strap, buckle end"``.
    outline_mm
        (N, 2) float mm, counter-clockwise: x along it from its riveted end, y across from one edge.
    holes_mm
        (M, 3) float mm: centre and diameter of each hole.
    worn_hole
        Which of its holes, counted from the first, is used over padding as designed; None without.
    fold_mm
        Where along it it is folded; None for nowhere.
    slot_mm
        (2, 2) float mm: ends of the slot for a buckle's prong; None without one.
    tape_mm
        Where along it tape is sewn on, from and to; None without.
    words
        What to do with it.
    """

    name: str
    outline_mm: Floats
    holes_mm: Floats
    words: tuple[str, ...]
    worn_hole: int | None = None
    fold_mm: float | None = None
    slot_mm: Floats | None = None
    tape_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "outline_mm", frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        )
        object.__setattr__(self, "holes_mm", frozen_floats(self.holes_mm, (None, 3), "holes_mm"))
        if self.slot_mm is not None:
            object.__setattr__(self, "slot_mm", frozen_floats(self.slot_mm, (2, 2), "slot_mm"))

    @property
    def length_mm(self) -> float:
        """Cut to this length."""
        return float(np.ptp(self.outline_mm[:, 0]))

    @property
    def width_mm(self) -> float:
        """Of the strap."""
        return float(np.ptp(self.outline_mm[:, 1]))

    def in_words(self) -> str:
        """Return its size and holes: ``"side strap: 25 × 182 mm, holes at 10, 30, 60 mm"``."""
        size = f"{self.name}: {self.width_mm:g} × {self.length_mm:.0f} mm"
        holes = ", ".join(f"{x:.0f}" for x in np.sort(self.holes_mm[:, 0]))
        return f"{size}, holes at {holes} mm from its riveted end"


@dataclass(frozen=True, slots=True, eq=False)
class StrapFit:
    """What a strap is cut and set to.

    Attributes
    ----------
    pieces
        The strap, then its buckle end where it has one.
    setting
        How far it goes.
    """

    pieces: tuple[StrapPiece, ...]
    setting: Setting


def prong_hole_mm(width_mm: float) -> float:
    """Return the diameter of a strap's holes for a buckle's prong."""
    return next(hole for widest, hole in _PRONG_MM if width_mm <= widest)


def bar_mm(width_mm: float) -> float:
    """Return how far a buckle's bar stands off the nearest rivet of its end."""
    return max(_BAR_SHARE * width_mm, _BAR_LEAST_MM)


def tape_mm(design: StrapDesign) -> float:
    """Return how much tape lies on tape as worn: enough is left when the strap is let out."""
    return _TAPE_MM + design.play_mm


def hole_mm(design: StrapDesign) -> float:
    """Return the diameter of the holes a strap is set by."""
    if design.closing == "post":
        return rivet_named(POST).hole_mm[0]
    return prong_hole_mm(design.width_mm)


def least_pitch_mm(design: StrapDesign) -> float:
    """Return the least distance from hole to hole."""
    return _PITCH_SHARE * hole_mm(design)


def end_mm(rivet: Rivet) -> float:
    """Return how much of a strap lies beyond its rivet nearest the plate's edge."""
    return (RIVETS - 1) * rivet.usual_pitch_mm + rivet.good_edge_mm


def seat_mm(design: StrapDesign) -> float:
    """Return how much of a strap lies on the last plate inwards from its fastening there."""
    if design.closing == "buckle":
        return end_mm(rivet_named(design.rivets))
    if design.closing == "hook and loop":
        return tape_mm(design)
    return _TAIL_LEAST_MM


def fit_strap(design: StrapDesign, length_mm: float, bare_change_mm: float) -> StrapFit:
    """Return the pieces of a strap that is so long between its fastenings.

    Parameters
    ----------
    length_mm
        From the first plate's rivet nearest the edge to the last plate's rivet, post or tape.
    bare_change_mm
        What that grows by on the bare wearer; negative.
    """
    rivet = rivet_named(design.rivets)
    worn = length_mm - (bar_mm(design.width_mm) if design.closing == "buckle" else 0.0)
    shortest, longest = worn + bare_change_mm - design.play_mm, worn + design.play_mm
    if design.closing == "hook and loop":
        setting = Setting(worn, shortest, longest, (shortest, longest))
        return StrapFit((_taped(design, rivet, setting),), setting)
    fewer = math.ceil((worn - shortest) / design.pitch_mm - 1e-9)
    more = math.ceil((longest - worn) / design.pitch_mm - 1e-9)
    at: Floats = worn + design.pitch_mm * np.arange(-fewer, more + 1, dtype=np.float64)
    setting = Setting(worn, shortest, longest, (float(at[0]), float(at[-1])))
    pieces = [_holed(design, rivet, setting, at)]
    if design.closing == "buckle":
        pieces.append(_buckle_end(design, rivet))
    return StrapFit(tuple(pieces), setting)


def too_short_mm(design: StrapDesign, setting: Setting) -> float:
    """Return by how much its fastenings are too near to each other when it is set shortest."""
    rivet = rivet_named(design.rivets)
    least = _RIVETS_CLEAR_MM + rivet.good_edge_mm
    if design.closing == "buckle":
        least += 0.5 * bar_mm(design.width_mm)
    return max(least - setting.reach_mm[0], 0.0)


def _holed(design: StrapDesign, rivet: Rivet, setting: Setting, at: Floats) -> StrapPiece:
    start = end_mm(rivet)
    worn = int(np.abs(at - setting.worn_mm).argmin()) + 1
    tail = max(_TAIL_SHARE * design.width_mm, _TAIL_LEAST_MM)
    length = start + setting.reach_mm[1] + tail
    middle = 0.5 * design.width_mm
    holes = [*_rivet_holes(rivet, middle), *([start + x, middle, hole_mm(design)] for x in at)]
    what = "the post" if design.closing == "post" else "the buckle"
    words = [
        f"riveted to '{design.on[0]}', {what} is on '{design.on[1]}'",
        f"set {setting.reach_mm[0]:.0f} to {setting.reach_mm[1]:.0f} mm, worn {setting.worn_mm:.0f}"
        f" at hole {worn} (ticked) · {len(at)} holes {hole_mm(design):g} mm, "
        f"{design.pitch_mm:g} mm apart",
    ]
    if design.closing == "post":
        words.append("cut a slit of one hole's width from each hole towards the tip")
    return StrapPiece(
        design.name,
        _outline(length, design.width_mm, pointed=True),
        np.array(holes),
        tuple(words),
        worn_hole=worn,
    )


def _taped(design: StrapDesign, rivet: Rivet, setting: Setting) -> StrapPiece:
    start = end_mm(rivet)
    length = start + setting.worn_mm + tape_mm(design)
    # Taken in to its shortest the tape below still lies under the strap's.
    tape = length - tape_mm(design) - (setting.worn_mm - setting.shortest_mm)
    words = (
        f"riveted to '{design.on[0]}', closed on '{design.on[1]}'",
        f"set {setting.shortest_mm:.0f} to {setting.longest_mm:.0f} mm, worn "
        f"{setting.worn_mm:.0f} · soft tape under it, {length - max(tape, start):.0f} mm from its "
        "end",
    )
    return StrapPiece(
        design.name,
        _outline(length, design.width_mm, pointed=False),
        np.array(_rivet_holes(rivet, 0.5 * design.width_mm)),
        words,
        tape_mm=(max(tape, start), length),
    )


def _buckle_end(design: StrapDesign, rivet: Rivet) -> StrapPiece:
    """Return the piece that is folded round the buckle's bar, both halves on the same rivets."""
    half = end_mm(rivet) + bar_mm(design.width_mm)
    # Round the bar the middle of the leather's thickness keeps its length.
    round_mm = 0.5 * math.pi * (_BAR_MM + design.thickness_mm)
    length = 2.0 * half + round_mm
    middle = 0.5 * design.width_mm
    own = _rivet_holes(rivet, middle)
    holes = [*own, *([length - x, y, d] for x, y, d in own)]
    prong = prong_hole_mm(design.width_mm)
    slot = 0.5 * max(_SLOT_SHARE * design.width_mm, 3.0 * prong)
    fold = 0.5 * length
    holes += [[fold - slot, middle, prong], [fold + slot, middle, prong]]
    words = (
        f"folded round the buckle's bar, riveted to '{design.on[1]}'",
        f"punch {prong:g} mm at both ends of the slot, cut between · a keeper beside the buckle",
    )
    return StrapPiece(
        f"{design.name}, buckle end",
        _outline(length, design.width_mm, pointed=False),
        np.array(holes),
        words,
        fold_mm=fold,
        slot_mm=np.array([[fold - slot, middle], [fold + slot, middle]]),
    )


def _rivet_holes(rivet: Rivet, middle: float) -> list[list[float]]:
    """Return the holes at a riveted end, which lies at x = 0."""
    return [
        [rivet.good_edge_mm + k * rivet.usual_pitch_mm, middle, rivet.hole_mm[0]]
        for k in range(RIVETS)
    ]


def _outline(length: float, width: float, *, pointed: bool) -> Floats:
    """Return a strap's outline, its corners cut where it is not pointed."""
    corner = 0.15 * width
    back = [[corner, 0.0], [0.0, corner], [0.0, width - corner], [corner, width]]
    if pointed:
        point = _POINT_SHARE * width
        tip = [[length - point, width], [length, 0.5 * width], [length - point, 0.0]]
    else:
        tip = [
            [length - corner, width],
            [length, width - corner],
            [length, corner],
            [length - corner, 0.0],
        ]
    return np.array([*back, *tip])[::-1]
