"""A strap as laid: its run, its pieces, where it sits on the plates, and what to buy for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.surface_path import SurfacePath
from fitkit.holding.bought import Bought
from fitkit.holding.fixing import Fixing
from fitkit.holding.seat import Seat
from fitkit.holding.strap_design import StrapDesign
from fitkit.holding.strap_pieces import (
    POST,
    RIVETS,
    StrapFit,
    end_mm,
    fit_strap,
    hole_mm,
    least_pitch_mm,
    seat_mm,
    tape_mm,
    too_short_mm,
)
from fitkit.holding.strap_run import StrapEnd, StrapRun, run_strap
from fitkit.holding.worn_sheet import WornSheet
from fitkit.materials.rivet import Rivet, rivet_named

__all__ = ["LONGEST_DRAWN_MM", "Strap", "lay_strap"]

LONGEST_DRAWN_MM = 270.0
"""Longer pieces are told by their length: they would take more than one A4 page."""

# A footprint's sides are drawn through places so far apart.
_SIDE_STEP_MM = 4.0
# Off the designed direction a run that lies mostly on its own plates has taken the wrong way round.
_ON_PLATE_SHARE = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Strap:
    """A strap as laid on the wearer.

    Attributes
    ----------
    design
        What the maker asked for.
    sheets
        The plates at its two ends.
    run
        Its line.
    fit
        Its pieces and how far it can be set.
    seats
        What is drilled and marked for it, on both sides where it is paired.
    bought
        What has to be bought for it, both sides together.
    findings
        What was noticed.
    """

    design: StrapDesign
    sheets: tuple[WornSheet, WornSheet]
    run: StrapRun
    fit: StrapFit
    seats: tuple[Seat, ...]
    bought: tuple[Bought, ...]
    findings: tuple[Finding, ...]

    @property
    def count(self) -> int:
        """How many of each piece are cut."""
        return 2 if self.design.paired else 1

    def outline_mm(self) -> Floats:
        """(N, 3) float mm: the closed line round all of it as worn, its first point repeated."""
        covers = float(self.run.arc_mm[0]), float(self.run.arc_mm[-1])
        outline = _footprint(self.run, covers, self.design.width_mm)
        closed: Floats = np.vstack([outline, outline[:1]])
        return closed

    def in_words(self) -> str:
        """Return lengths and settings: ``"142 to 176 mm between its fastenings, worn 168"``."""
        setting = self.fit.setting
        return (
            f"{setting.reach_mm[0]:.0f} to {setting.reach_mm[1]:.0f} mm between its fastenings, "
            f"worn {setting.worn_mm:.0f}; bare wearer and play want {setting.shortest_mm:.0f} to "
            f"{setting.longest_mm:.0f}"
        )


def lay_strap(
    design: StrapDesign,
    surface: TriangleMesh,
    path: SurfacePath,
    sheets: tuple[WornSheet, WornSheet],
    at_mm: tuple[Floats, Floats],
    *,
    body: TriangleMesh,
) -> Strap:
    """Return a strap with its pieces, its seats on both plates and what to buy.

    Parameters
    ----------
    surface, path
        What it lies on between the plates, and its line there from place to place.
    sheets, at_mm
        The plates at its ends, and its place on each, (3,) float mm.
    body
        The bare wearer.

    Raises
    ------
    DesignError
        When there is no room for its fastenings on a plate.
    InputError
        When its rivets close no such stack.
    """
    rivet = rivet_named(design.rivets)
    insets = rivet.good_edge_mm, _closing_inset_mm(design, rivet)
    ends = (
        StrapEnd(sheets[0], at_mm[0], insets[0], end_mm(rivet)),
        StrapEnd(sheets[1], at_mm[1], insets[1], seat_mm(design)),
    )
    run = run_strap(
        design.name,
        surface,
        path,
        *ends,
        thickness_mm=design.thickness_mm,
        body=body,
        over_body=design.over == "body",
    )
    fit = fit_strap(design, run.length_mm, run.bare_change_mm)
    seats = [
        _first_seat(design, rivet, run, sheets[0]),
        _last_seat(design, rivet, run, sheets[1]),
    ]
    if design.paired:
        own = zip(tuple(seats), sheets, strict=True)
        seats += [seat.on_other_side(paired=sheet.paired) for seat, sheet in own]
    bought = _bought(design, rivet, sheets, fit)
    findings = _findings(design, rivet, run, fit, sheets)
    return Strap(design, sheets, run, fit, tuple(seats), bought, findings)


def _closing_inset_mm(design: StrapDesign, rivet: Rivet) -> float:
    """Return what the closing keeps from the last plate's edge."""
    if design.closing == "post":
        return rivet_named(POST).good_edge_mm
    return rivet.good_edge_mm


def _first_seat(design: StrapDesign, rivet: Rivet, run: StrapRun, sheet: WornSheet) -> Seat:
    grip = sheet.thickness_mm + design.thickness_mm
    at = -rivet.usual_pitch_mm * np.arange(RIVETS, dtype=np.float64)
    return _seat(design, rivet, run, sheet, at, (-end_mm(rivet), run.edges_mm[0]), grip)


def _last_seat(design: StrapDesign, rivet: Rivet, run: StrapRun, sheet: WornSheet) -> Seat:
    start = min(run.edges_mm[1], run.length_mm)
    if design.closing == "buckle":
        grip = sheet.thickness_mm + 2.0 * design.thickness_mm
        at = run.length_mm + rivet.usual_pitch_mm * np.arange(RIVETS, dtype=np.float64)
        return _seat(design, rivet, run, sheet, at, (start, run.length_mm + end_mm(rivet)), grip)
    if design.closing == "post":
        post = rivet_named(POST)
        grip = sheet.thickness_mm + design.thickness_mm
        at = np.array([run.length_mm])
        return _seat(design, post, run, sheet, at, None, grip)
    tape = (run.length_mm, run.length_mm + tape_mm(design))
    return Seat(
        design.name,
        sheet.patch,
        sheet.twin,
        np.zeros((0, 3)),
        rivet.hole_mm[0],
        0.0,
        sheet.as_drawn(_footprint(run, tape, design.width_mm)),
        f"hook tape {design.width_mm:g} × {tape[1] - tape[0]:.0f} mm for '{design.name}'",
    )


def _seat(
    design: StrapDesign,
    rivet: Rivet,
    run: StrapRun,
    sheet: WornSheet,
    at: Floats,
    covers: tuple[float, float] | None,
    grip_mm: float,
) -> Seat:
    outline = np.zeros((0, 3)) if covers is None else _footprint(run, covers, design.width_mm)
    count = len(at)
    size = rivet.size_in_words(rivet.stock_length_for(grip_mm))
    many = f"{count} {rivet.noun}{'s' * (count > 1)} {size}"
    return Seat(
        design.name,
        sheet.patch,
        sheet.twin,
        sheet.as_drawn(run.at(at)),
        rivet.hole_mm[0],
        rivet.least_edge_mm,
        sheet.as_drawn(outline),
        f"{many} for '{design.name}': drill {rivet.hole_mm[0]:g} mm",
        fixing=Fixing(rivet.name),
    )


def _footprint(run: StrapRun, covers: tuple[float, float], width_mm: float) -> Floats:
    """(N, 3) float mm: the closed line round a stretch of the strap."""
    low, high = sorted(covers)
    at = np.linspace(low, high, max(int(np.ceil((high - low) / _SIDE_STEP_MM)), 1) + 1)
    left, right = (run.beside(at, aside) for aside in (0.5 * width_mm, -0.5 * width_mm))
    return np.vstack([right, left[::-1]])


def _bought(
    design: StrapDesign, rivet: Rivet, sheets: tuple[WornSheet, WornSheet], fit: StrapFit
) -> tuple[Bought, ...]:
    twice = 2 if design.paired else 1
    width, thick = f"{design.width_mm:g} mm", design.thickness_mm

    def row(
        item: str, size: str, count: int = 1, *, length_mm: float | None = None, note: str = ""
    ) -> Bought:
        return Bought(item, size, count * twice, design.name, design.on, length_mm, note)

    grips = [sheets[0].thickness_mm + thick]
    made = []
    if design.closing == "buckle":
        grips.append(sheets[1].thickness_mm + 2.0 * thick)
        made.append(row("buckle", width, note="with a prong, as wide inside"))
    elif design.closing == "post":
        post = rivet_named(POST)
        size = post.size_in_words(post.stock_length_for(sheets[1].thickness_mm + thick))
        made.append(row(post.noun_with_metal, size))
    else:
        sewn = fit.pieces[0].tape_mm
        assert sewn is not None
        hook, loop = tape_mm(design), sewn[1] - sewn[0]
        made.append(row("hook tape", width, length_mm=hook, note="glued and riveted, or sewn on"))
        made.append(row("loop tape", width, length_mm=loop, note="sewn on"))
    for grip in grips:
        size = rivet.size_in_words(rivet.stock_length_for(grip))
        made.append(row(rivet.noun_with_metal, size, RIVETS, note="with a washer on the leather"))
    for piece in fit.pieces:
        if piece.length_mm > LONGEST_DRAWN_MM:
            item, size = f"strap, {design.material}", f"{width} × {thick:g} mm"
            made.append(row(item, size, length_mm=piece.length_mm, note=piece.in_words()))
    return tuple(made)


def _findings(
    design: StrapDesign,
    rivet: Rivet,
    run: StrapRun,
    fit: StrapFit,
    sheets: tuple[WornSheet, WornSheet],
) -> tuple[Finding, ...]:
    found = []
    if short := too_short_mm(design, fit.setting):
        found.append(
            Finding(
                "strap-short",
                Severity.WARNING,
                design.name,
                f"Set to its shortest the strap is {fit.setting.reach_mm[0]:.0f} mm between its "
                f"fastenings; they come {short:.0f} mm too near to each other.",
                "Move its places farther apart, give less play, or take a narrower strap.",
                number=fit.setting.reach_mm[0],
                limit=fit.setting.reach_mm[0] + short,
                unit="mm",
            )
        )
    if design.width_mm < 2.0 * rivet.least_edge_mm:
        found.append(
            Finding(
                "strap-narrow",
                Severity.WARNING,
                design.name,
                f"A strap {design.width_mm:g} mm wide leaves {0.5 * design.width_mm:g} mm beside "
                f"its rivets; {rivet.name} mm want {rivet.least_edge_mm:g} mm (2 D).",
                f"Make it {2.0 * rivet.least_edge_mm:g} mm wide, or take thinner rivets.",
                number=0.5 * design.width_mm,
                limit=rivet.least_edge_mm,
                unit="mm",
            )
        )
    if design.closing != "hook and loop" and design.pitch_mm < least_pitch_mm(design):
        found.append(
            Finding(
                "strap-holes-near",
                Severity.WARNING,
                design.name,
                f"Holes of {hole_mm(design):g} mm every {design.pitch_mm:g} mm tear into each "
                "other.",
                f"Leave {least_pitch_mm(design):g} mm or more from hole to hole.",
                number=design.pitch_mm,
                limit=least_pitch_mm(design),
                unit="mm",
            )
        )
    between = np.linspace(0.0, run.length_mm, 60)
    on = np.zeros(len(between), dtype=np.bool_)
    if sheets[0].patch == sheets[1].patch and sheets[0].twin == sheets[1].twin:
        on = sheets[0].holds(run.at(between))
    if on.mean() > _ON_PLATE_SHARE:
        found.append(
            Finding(
                "strap-over-plate",
                Severity.WARNING,
                design.name,
                f"The strap runs {100.0 * on.mean():.0f} % of its way over '{sheets[0].patch}' "
                "itself: that is its shortest way.",
                "Name a place on the other side that it runs through.",
                number=round(float(on.mean()), 2),
            )
        )
    return tuple(found)
