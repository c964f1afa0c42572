"""All that stands in a build book, gathered from what the steps before have made."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.body.body import SegmentAxis
from fitkit.drawing.drawing import Drawing
from fitkit.findings import Finding
from fitkit.flatten.attachment_blank import AttachmentBlank
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.holding.bought import Bought
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.sheets.cut_list import CutRow, SheetRow
from fitkit.sheets.part_to_place import parts_to_place
from fitkit.shop.assembly_order import AssemblyStep, assembly_order
from fitkit.shop.attachment_plan import attachment_plan
from fitkit.shop.blank_view import BlankView, blank_view
from fitkit.shop.cautions import CAUTIONS
from fitkit.shop.fitting_checklist import FittingCheck, fitting_checklist
from fitkit.shop.forming_step import FormingPlan
from fitkit.shop.gauge_section import GaugeSection, gauge_sections
from fitkit.shop.hardware_list import HardwareItem, OwnHardware, hardware_list
from fitkit.shop.joint import riveted_joints
from fitkit.shop.pair_findings import pair_findings
from fitkit.shop.plan_facts import PlanFacts, plan_facts
from fitkit.shop.plan_part import plan_of
from fitkit.shop.seam_bevel import seam_bevels
from fitkit.shop.worn_plate import WornPlate, worn_plates
from fitkit.template.correction import Correction
from fitkit.template.rivet_joint import RivetHoles
from fitkit.template.template import Template

__all__ = [
    "BookHolding",
    "BookMeasure",
    "BookMotion",
    "BookRange",
    "BookSheets",
    "BuildBook",
    "CutPiece",
    "HoldingRow",
    "PartPage",
    "build_book",
]


@dataclass(frozen=True, slots=True)
class BookMeasure:
    """One line of the wearer's measures; lengths in mm, None where not known."""

    name: str
    body_mm: float | None
    tape_mm: float | None
    verdict: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class PartPage:
    """What stands on one part's page.

    Attributes
    ----------
    template
        As printed.
    plan
        How it is made.
    view
        Its blank.
    gauges
        Sections to cut gauges by; a twin's are mirrored by turning the gauge over.
    shown_on
        Number of the worn plate to show it on: its own, or the one it stands on.
    area_mm2, mass_kg
        Of the blank with its holes out; forming keeps the volume.
    """

    template: Template
    plan: FormingPlan
    view: BlankView
    gauges: tuple[GaugeSection, ...]
    shown_on: int
    area_mm2: float
    mass_kg: float


@dataclass(frozen=True, slots=True, eq=False)
class CutPiece:
    """What is cut by its template and has no page of its own: a strap, a lining, a gap piece.

    ``size_mm`` is its width and height, ``area_mm2`` and ``mass_kg`` those of the blank.
    """

    template: Template
    size_mm: tuple[float, float]
    area_mm2: float
    mass_kg: float


@dataclass(frozen=True, slots=True, eq=False)
class BookSheets:
    """The parts as laid on the stock: pages to mark out by, cut list, sheets, and the money's name.

    ``pages`` are drawn on the book's paper, laid across.
    """

    pages: tuple[Drawing, ...]
    cuts: tuple[CutRow, ...]
    sheets: tuple[SheetRow, ...]
    currency: str


@dataclass(frozen=True, slots=True)
class BookRange:
    """One asked movement, degrees: at rest, wanted, free as built, and free once trimmed."""

    name: str
    rest_deg: float
    wanted_deg: float
    free_deg: float
    trimmed_deg: float


@dataclass(frozen=True, slots=True)
class BookMotion:
    """What the joints' motion showed: ranges, findings in words, and pictures (title, PNG)."""

    ranges: tuple[BookRange, ...]
    remarks: tuple[str, ...]
    pictures: tuple[tuple[str, bytes], ...]


@dataclass(frozen=True, slots=True)
class HoldingRow:
    """A strap, pad, soft piece or fastener: its name, what it is, and in words how it is set."""

    name: str
    what: str
    words: str


@dataclass(frozen=True, slots=True)
class BookHolding:
    """What holds, lines and joins the plates: a row each, and the straps on the wearer as PNG."""

    rows: tuple[HoldingRow, ...]
    picture: bytes | None = None


@dataclass(frozen=True, slots=True, eq=False)
class BuildBook:
    """Everything in the book but pictures of the body.

    Attributes
    ----------
    job, wearer
        Names.
    plates
        As worn.
    parts
        One page each, by number.
    pieces
        What else is cut, mostly for what holds and lines them; it has no page of its own.
    hardware, assembly, fitting
        Lists.
    measures
        The wearer's; empty when they are left out.
    cautions
        Keys of all that hold for any part, in their order.
    findings
        What was noticed in gathering.
    sheets, motion
        How the parts lie on the stock and how the plates move, where those steps have been made.
    holding
        What holds, lines and joins the plates, where there is any.
    """

    job: str
    wearer: str
    plates: tuple[WornPlate, ...]
    parts: tuple[PartPage, ...]
    pieces: tuple[CutPiece, ...]
    hardware: tuple[HardwareItem, ...]
    assembly: tuple[AssemblyStep, ...]
    fitting: tuple[FittingCheck, ...]
    measures: tuple[BookMeasure, ...]
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
    sheets: BookSheets | None = None
    motion: BookMotion | None = None
    holding: BookHolding | None = None

    @property
    def mass_kg(self) -> float:
        """Of all parts; hardware and what else is cut are left out."""
        return sum(part.mass_kg for part in self.parts)

    @property
    def layers(self) -> dict[int, tuple[WornPlate, ...]]:
        """Plates by layer, the innermost first."""
        found: dict[int, tuple[WornPlate, ...]] = {}
        for plate in sorted(self.plates, key=lambda plate: (plate.layer, plate.number)):
            found[plate.layer] = (*found.get(plate.layer, ()), plate)
        return found


def build_book(
    flats: Sequence[FlatPatch],
    templates: Sequence[Template],
    rows: Sequence[RivetHoles],
    *,
    job: str,
    wearer: str,
    numbers: Mapping[str, int],
    axes: Mapping[str, SegmentAxis],
    corrections: Mapping[str, Correction] | None = None,
    attachments: Sequence[AttachmentBlank] = (),
    bought: Sequence[Bought] = (),
    own: Sequence[OwnHardware] = (),
    measures: Sequence[BookMeasure] = (),
    sheets: BookSheets | None = None,
    motion: BookMotion | None = None,
    holding: BookHolding | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> BuildBook:
    """Return the book's content.

    Parameters
    ----------
    rows
        Every row of rivet holes.
    numbers
        First part number of each patch; a pair takes two.
    axes
        Of the body, to tell what is worn where.
    attachments
        In the order of their templates, which follow those of the patches.
    bought
        What the straps want.

    Raises
    ------
    InputError
        When no rivet, screw or bend as tabled fits.
    """
    corrections = corrections or {}
    plates = worn_plates(flats, numbers)
    joints = riveted_joints(flats, rows, plates)
    by_number = {template.number: template for template in templates}
    pages: list[PartPage] = []
    twins: set[int] = set()
    known: dict[str, tuple[PlanFacts, tuple[GaugeSection, ...]]] = {}
    for index, plate in enumerate(plates):
        if progress is not None:
            progress(index / len(plates), f"planning '{plate.title}'")
        name = plate.design
        if name not in known:
            flat = next(one for one in flats if one.design.name == name)
            own_rows = [row for row in rows if row.patch == name]
            facts = plan_facts(flat, rivets=own_rows, correction=corrections.get(name))
            if sheet_material_named(flat.design.material).name == "foam":
                facts = replace(facts, bevels=seam_bevels(flat, flats))
            known[name] = facts, gauge_sections(flat)
        facts, gauges = known[name]
        template = by_number[plate.number]
        facts = replace(
            facts,
            twin=plate.twin,
            fastened=template.fastened,
            fastened_by=template.fastened_by,
        )
        plan, view = plan_of(facts), blank_view(template, facts)
        pages.append(_page(template, plan, view, gauges, plate.number))
        if plate.twin:
            twins.add(plate.number)
    number = 1 + max((plate.number for plate in plates), default=0)
    standing: dict[int, list[str]] = {}
    for blank in attachments:
        flat = next(one for one in flats if one.design.name == blank.design.on)
        for twin in (False, True) if flat.design.paired else (False,):
            template = by_number[number]
            on = numbers[blank.design.on] + twin
            plan = attachment_plan(
                blank,
                plate_mm=flat.design.thickness_mm,
                plate_material=flat.design.material,
                twin=twin,
            )
            pages.append(_page(template, plan, blank_view(template), (), on))
            if twin:
                twins.add(number)
            standing.setdefault(on, []).append(f"{number} {template.title}")
            number += 1
    over = {flat.design.name: flat.design.over for flat in flats}
    steps, findings = assembly_order(
        plates, joints, over, standing=standing, held_by=_held_by(own, bought, plates)
    )
    paged = {page.template.number for page in pages}
    told = {key for page in pages for key in page.plan.cautions} | {"worn", "pinch", "release"}
    return BuildBook(
        job,
        wearer,
        plates,
        tuple(pages),
        tuple(_piece(template) for template in templates if template.number not in paged),
        hardware_list(
            flats,
            plates,
            joints,
            rows=rows,
            attachments=[blank.design for blank in attachments],
            bought=bought,
            own=own,
        ),
        steps,
        fitting_checklist(plates, axes),
        tuple(measures),
        tuple(key for key in CAUTIONS if key in told),
        (*_findings(pages, twins), *findings),
        sheets,
        motion,
        holding,
    )


def _findings(pages: Sequence[PartPage], twins: Collection[int]) -> tuple[Finding, ...]:
    """Return what the checks found; ``twins`` are numbers of parts that mirror the one before."""
    found: list[Finding] = []
    by_number = {page.template.number: page for page in pages}
    for number, page in by_number.items():
        if number in twins:
            continue
        if number + 1 in twins:
            other = by_number[number + 1]
            names = page.template.name, other.template.name
            found += pair_findings(_found(page), _found(other), names=names)
        else:
            found += _found(page)
    return tuple(found)


def _found(page: PartPage) -> list[Finding]:
    title = page.template.title
    found = [check.finding(title) for check in page.plan.checks]
    return [finding for finding in found if finding is not None]


def _page(
    template: Template,
    plan: FormingPlan,
    view: BlankView,
    gauges: tuple[GaugeSection, ...],
    shown_on: int,
) -> PartPage:
    return PartPage(template, plan, view, gauges, shown_on, *_amount(template))


def _piece(template: Template) -> CutPiece:
    width, height = np.ptp(template.outline_mm, axis=0)
    return CutPiece(template, (float(width), float(height)), *_amount(template))


def _amount(template: Template) -> tuple[float, float]:
    """Return the blank's area, mm2, and its mass, kg."""
    (part,) = parts_to_place([template])
    kg_m2 = sheet_material_named(template.material).mass_kg_m2(template.thickness_mm)
    return part.area_mm2, part.finished_area_mm2 * kg_m2 / 1e6


def _held_by(
    own: Sequence[OwnHardware], bought: Sequence[Bought], plates: Sequence[WornPlate]
) -> dict[int, list[str]]:
    held: dict[int, list[str]] = {}
    for plate in plates:
        straps = dict.fromkeys(one.where for one in bought if plate.design in one.on)
        if straps:
            held[plate.number] = [f"'{name}'" for name in straps]
    for one in own:
        for plate in plates:
            if plate.design == one.on:
                held.setdefault(plate.number, []).append(f"{one.count} × {one.name}")
    return held
