"""Settings turned into what the steps take: anchors, tape lines and patches, in radians."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, assert_never

import numpy as np

from fitkit.body.side import Side
from fitkit.errors import JobError
from fitkit.holding.fastener_design import FastenerDesign
from fitkit.holding.gusset_design import GussetDesign
from fitkit.holding.pad_design import PadDesign
from fitkit.holding.strap_design import StrapDesign
from fitkit.job.settings import (
    AnchorSection,
    EdgeSection,
    FormSection,
    GeodesicSection,
    JobSettings,
    LevelSection,
    LineSection,
    MirroredSection,
    PaddingSection,
    ParallelSection,
    PatchSection,
    RoundSection,
    SymmetrySection,
    ThroughSection,
)
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.artwork_design import ArtworkDesign
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import (
    Anchor,
    AxisAnchor,
    BetweenAnchor,
    CutDesign,
    EdgeTreatment,
    GeodesicLine,
    Grain,
    HeightAnchor,
    KeepOut,
    LandmarkAnchor,
    LevelLine,
    LineAnchor,
    LinedPlace,
    MirroredLine,
    PaddedPlace,
    Padding,
    ParallelLine,
    PatchDesign,
    PointAnchor,
    RangePlace,
    RivetRow,
    RoundLine,
    RoundPlace,
    SymmetryLine,
    TapeLineDesign,
    ThroughLine,
)
from fitkit.template.correction import Correction, EdgeMove, TracedHole
from fitkit.units import radians_from_degrees

if TYPE_CHECKING:
    from fitkit.body.named_girth import NamedGirth
    from fitkit.shop.hardware_list import OwnHardware

__all__ = [
    "anchor_of",
    "anchor_values_of",
    "artwork_designs",
    "attachment_designs",
    "corrections",
    "fastener_designs",
    "gusset_designs",
    "leaning_on",
    "line_design",
    "line_designs",
    "named_girths",
    "own_hardware",
    "pad_designs",
    "padding_designs",
    "part_number_words",
    "part_numbers",
    "patch_designs",
    "rim_name",
    "strap_designs",
]


def anchor_of(section: AnchorSection) -> Anchor:
    """Return the anchor that a section describes."""
    if section.landmark is not None:
        return LandmarkAnchor(section.landmark)
    if section.xyz_mm is not None:
        return PointAnchor(*section.xyz_mm)
    if section.line is not None:
        return LineAnchor(section.line, section.along, section.crossing)
    bearing_rad = radians_from_degrees(section.bearing_deg or 0.0)
    if section.axis is not None:
        return AxisAnchor(section.axis, section.along or 0.0, bearing_rad)
    if section.between is not None:
        return BetweenAnchor(section.between, section.part or 0.0, bearing_rad)
    return HeightAnchor(section.height_mm or 0.0, bearing_rad)


def anchor_values_of(anchor: Anchor) -> dict[str, Any]:
    """Return an anchor as the values of its section, the way back from :func:`anchor_of`."""
    match anchor:
        case LandmarkAnchor():
            return {"landmark": anchor.landmark}
        case HeightAnchor():
            return {"height_mm": anchor.height_mm, "bearing_deg": _degrees(anchor.bearing_rad)}
        case BetweenAnchor():
            told = {"between": list(anchor.between), "part": anchor.part}
            return {**told, "bearing_deg": _degrees(anchor.bearing_rad)}
        case AxisAnchor():
            bearing_deg = _degrees(anchor.bearing_rad)
            return {"axis": anchor.axis, "along": anchor.along, "bearing_deg": bearing_deg}
        case PointAnchor():
            return {"xyz_mm": [anchor.x_mm, anchor.y_mm, anchor.z_mm]}
        case LineAnchor():
            told = {"line": anchor.line, "along": anchor.along, "crossing": anchor.crossing}
            return {key: value for key, value in told.items() if value is not None}


def _degrees(angle_rad: float) -> float:
    return round(math.degrees(angle_rad), 3)


def line_designs(settings: JobSettings) -> tuple[TapeLineDesign, ...]:
    """Return the tape lines in the order of the file, then the rims of round patches."""
    rims = (
        RoundLine(rim_name(patch.name), anchor_of(patch.inside), patch.radius_mm)
        for patch in settings.patch
        if patch.radius_mm is not None
    )
    return (*(line_design(section) for section in settings.line), *rims)


def rim_name(patch: str) -> str:
    """Return the name of the line round a patch that is told by its radius."""
    return f"{patch} rim"


def leaning_on(section: LineSection) -> tuple[tuple[str, str], ...]:
    """Return key and name of each other line that a line's section names."""
    if isinstance(section, ParallelSection | MirroredSection):
        return (("of", section.of),)
    if isinstance(section, GeodesicSection | ThroughSection):
        places = section.points
    elif isinstance(section, RoundSection):
        places = [section.centre]
    else:
        return ()
    return tuple(
        (key, name)
        for place in places
        for key, name in (("line", place.line), ("crossing", place.crossing))
        if name is not None
    )


def line_design(section: LineSection) -> TapeLineDesign:
    """Return one tape line as its section tells it."""
    match section:
        case LevelSection():
            return LevelLine(
                section.name,
                axis=section.axis,
                height_mm=section.height_mm,
                along=section.along,
                tilt_rad=radians_from_degrees(section.tilt_deg),
                between=section.between,
                part=0.5 if section.part is None else section.part,
            )
        case GeodesicSection():
            return GeodesicLine(
                section.name, tuple(anchor_of(p) for p in section.points), section.closed
            )
        case ThroughSection():
            return ThroughLine(
                section.name, tuple(anchor_of(p) for p in section.points), section.closed
            )
        case SymmetrySection():
            return SymmetryLine(section.name)
        case ParallelSection():
            return ParallelLine(section.name, section.of, section.distance_mm, section.towards)
        case MirroredSection():
            return MirroredLine(section.name, section.of)
        case RoundSection():
            return RoundLine(section.name, anchor_of(section.centre), section.radius_mm)
        case _:
            assert_never(section)


def patch_designs(settings: JobSettings) -> tuple[PatchDesign, ...]:
    """Return the patches in the order of the file; each states its clearance."""
    return tuple(_patch(section, settings.form) for section in settings.patch)


def _patch(section: PatchSection, form: FormSection) -> PatchDesign:
    rim = {} if section.radius_mm is None else {"rim": rim_name(section.name)}
    return PatchDesign(
        name=section.name,
        boundary=(*section.lines, *rim.values()),
        inside=anchor_of(section.inside),
        side=Side(section.side),
        paired=section.pair,
        seams=section.seams,
        material=sheet_material_named(section.material).name,
        thickness_mm=section.thickness_mm,
        clearance_mm=form.room_mm() if section.clearance_mm is None else section.clearance_mm,
        bridge_mm=form.bridge_mm if section.bridge_mm is None else section.bridge_mm,
        over=tuple(section.over),
        edges={rim.get(line, line): _treatment(edge) for line, edge in section.edges.items()},
        note=section.note,
        forming=section.forming,
        ease=section.ease,
        hold=tuple(section.hold),
        more_inside=tuple(anchor_of(place) for place in section.more_inside),
        grain=None
        if section.grain is None
        else Grain(section.grain, radians_from_degrees(section.grain_deg)),
        cuts=tuple(CutDesign(anchor_of(cut.edge), anchor_of(cut.tip)) for cut in section.cuts),
        no_cuts=tuple(
            row if isinstance(row, str) else KeepOut(anchor_of(row.at), row.within_mm)
            for row in section.no_cuts
        ),
        cut_to=None if section.cut_to_pct is None else section.cut_to_pct / 100.0,
        stop_hole_mm=section.stop_hole_mm,
        contours=section.contours,
    )


def _treatment(edge: EdgeSection) -> EdgeTreatment:
    rivets = None
    if edge.rivets is not None:
        rivets = RivetRow(edge.rivets, edge.pitch_mm, edge.drill_later)
    kind = edge.kind()
    if kind is None:
        return EdgeTreatment("lap", rivets=rivets) if rivets else EdgeTreatment()
    name, size = kind
    if size <= 0:
        return EdgeTreatment()
    if name == "flange":
        return EdgeTreatment(name, size, edge.radius_mm, radians_from_degrees(edge.bend_deg))
    return EdgeTreatment(name, size, rivets=rivets)


def padding_designs(settings: JobSettings) -> tuple[Padding, ...]:
    """Return the padded places in the order of the file."""
    return tuple(
        Padding(row.name, row.thickness_mm, _padded_place(row), row.runout_mm)
        for row in settings.padding
    )


def _padded_place(section: PaddingSection) -> PaddedPlace:
    if section.between is not None:
        bearings = section.bearing_deg
        return RangePlace(
            section.axis,
            *section.between,
            None
            if bearings is None
            else (radians_from_degrees(bearings[0]), radians_from_degrees(bearings[1])),
        )
    if section.centre is not None:
        return RoundPlace(anchor_of(section.centre), section.radius_mm or 0.0)
    assert section.inside is not None
    return LinedPlace(tuple(section.lines), anchor_of(section.inside))


def attachment_designs(settings: JobSettings) -> tuple[AttachmentDesign, ...]:
    """Return what stands on the patches, in the order of the file."""
    return tuple(
        AttachmentDesign(
            name=row.name,
            on=row.on,
            at=anchor_of(row.at),
            kind=row.kind,
            across_mm=row.across_mm,
            height_mm=row.height_mm,
            top_mm=row.top_mm,
            turn_rad=radians_from_degrees(row.turn_deg),
            lean_rad=radians_from_degrees(row.lean_deg),
            toward_rad=radians_from_degrees(row.toward_deg),
            material=sheet_material_named(row.material).name,
            thickness_mm=row.thickness_mm,
            tabs=row.tabs,
            tab_mm=row.tab_mm,
            hole_mm=row.hole_mm,
            screw_metal=row.screw_metal,
            seam_lap_mm=row.seam_lap_mm,
            gores=row.gores,
            note=row.note,
        )
        for row in settings.attachment
    )


def artwork_designs(settings: JobSettings) -> tuple[ArtworkDesign, ...]:
    """Return the emblems on the patches, in the order of the file."""
    return tuple(
        ArtworkDesign(
            row.name,
            row.on,
            anchor_of(row.at),
            row.width_mm,
            radians_from_degrees(row.turn_deg),
            row.twin,
        )
        for row in settings.artwork
    )


def strap_designs(settings: JobSettings) -> tuple[StrapDesign, ...]:
    """Return the straps in the order of the file."""
    return tuple(
        StrapDesign(
            name=row.name,
            on=row.on,
            at=(anchor_of(row.at[0]), anchor_of(row.at[1])),
            through=tuple(anchor_of(place) for place in row.through),
            over=row.over,
            paired=row.pair,
            width_mm=row.width_mm,
            thickness_mm=row.thickness_mm,
            material=sheet_material_named(row.material).name,
            closing=row.closing,
            play_mm=row.play_mm,
            pitch_mm=row.pitch_mm,
            rivets=row.rivets,
            note=row.note,
        )
        for row in settings.strap
    )


def fastener_designs(settings: JobSettings) -> tuple[FastenerDesign, ...]:
    """Return what fastens removable plates, in the order of the file."""
    return tuple(
        FastenerDesign(row.name, row.on, anchor_of(row.at), row.kind, row.load, row.often, row.pair)
        for row in settings.fastener
    )


def gusset_designs(settings: JobSettings) -> tuple[GussetDesign, ...]:
    """Return the soft pieces between plates in the order of the file."""
    return tuple(
        GussetDesign(
            row.name,
            row.between,
            anchor_of(row.at),
            sheet_material_named(row.material).name,
            row.thickness_mm,
            row.under_mm,
            row.seam_mm,
            row.reach_mm,
            row.pair,
        )
        for row in settings.gusset
    )


def pad_designs(settings: JobSettings) -> tuple[PadDesign, ...]:
    """Return the pads in the order of the file.

    Raises
    ------
    JobError
        When there is no room for one under its plate.
    """
    under = {patch.name: patch.clearance_mm or 0.0 for patch in patch_designs(settings)}
    made = []
    for row in settings.pad:
        room = settings.form.padding_mm or under[row.on]
        thickness = room / row.layers if row.thickness_mm is None else row.thickness_mm
        if thickness <= 0:
            raise JobError(
                f"The pad '{row.name}' has no thickness: '{row.on}' lies on the body without room.",
                "Give it a thickness_mm, or the patch a clearance_mm.",
            )
        material = sheet_material_named(row.material).name
        made.append(PadDesign(row.name, row.on, thickness, material, row.layers, row.edge_mm))
    return tuple(made)


def own_hardware(settings: JobSettings) -> tuple[OwnHardware, ...]:
    """Return what the maker adds to the hardware list."""
    from fitkit.shop.hardware_list import OwnHardware

    return tuple(
        OwnHardware(row.name, row.count, row.on, row.length_mm, row.note)
        for row in settings.hardware
    )


def named_girths(settings: JobSettings) -> tuple[NamedGirth, ...]:
    """Return the girths of the maker's own, beside those that every body has."""
    from fitkit.body.named_girth import NamedGirth

    return tuple(
        NamedGirth(row.name, row.height_mm, row.axis, row.along, row.landmarks or ())
        for row in settings.girth
    )


def corrections(settings: JobSettings) -> dict[str, Correction]:
    """Return what was corrected on card, by patch."""
    return {
        section.patch: Correction(
            section.patch,
            tuple(
                EdgeMove(edge.line, edge.piece, np.array(edge.moved_mm)) for edge in section.edges
            ),
            tuple(TracedHole(*hole) for hole in section.holes),
            tuple(np.array(line) for line in section.pencil),
        )
        for section in settings.correction
    }


def part_numbers(designs: tuple[PatchDesign, ...]) -> dict[str, int]:
    """Return the first part number of each patch; a pair takes two."""
    numbers: dict[str, int] = {}
    following = 1
    for design in designs:
        numbers[design.name] = following
        following += 2 if design.paired else 1
    return numbers


def part_number_words(designs: tuple[PatchDesign, ...]) -> dict[str, str]:
    """Return what is written in each patch on pictures: ``3``, or for a pair ``3/4``."""
    firsts = part_numbers(designs)
    return {
        design.name: f"{firsts[design.name]}/{firsts[design.name] + 1}"
        if design.paired
        else str(firsts[design.name])
        for design in designs
    }
