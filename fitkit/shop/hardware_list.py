"""What to buy beside the sheet: rivets, washers, wire, screws, and what the maker adds."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.flatten.edge_names import CUT, edge_treatment, is_cut_edge
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.holding.bought import Bought
from fitkit.materials.rivet import Rivet
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.patch.design import PatchDesign
from fitkit.shop.joint import Joint
from fitkit.shop.worn_plate import WornPlate
from fitkit.spreadsheet import spreadsheet
from fitkit.template.rivet_joint import RivetHoles, strap_width_mm

__all__ = ["HardwareItem", "OwnHardware", "hardware_csv", "hardware_list"]

# One in ten is spoilt, and never fewer than three; common practice, no source.
_SPARE_SHARE = 0.1
_LEAST_SPARE = 3
# Beyond its edge a wire is cut longer by this; common practice, no source.
_WIRE_OVER_MM = 20.0
_SOFT = ("leather", "foam", "card")
_COLUMNS = ("item", "size", "needed", "spare", "to_buy", "length_mm", "where", "note")


@dataclass(frozen=True, slots=True)
class OwnHardware:
    """What the maker adds by hand: a strap, a buckle, a screw and post.

    ``on`` names the patch it belongs to, if any; a pair takes it twice.
    """

    name: str
    count: int = 1
    on: str = ""
    length_mm: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class HardwareItem:
    """One line of the list.

    Attributes
    ----------
    item, size
        Such as ``"aluminium blind rivet"``, ``"3.2 × 6"``.
    needed, spare
        Pieces.
    length_mm
        For what is sold by length, the whole of it with what is cut off; None for what is counted.
    where
        Where it goes, in words.
    note
        Anything to mind when buying.
    """

    item: str
    size: str
    needed: int
    spare: int
    length_mm: float | None
    where: str
    note: str = ""

    @property
    def to_buy(self) -> int:
        """Needed and spare."""
        return self.needed + self.spare


def hardware_list(
    flats: Sequence[FlatPatch],
    plates: Sequence[WornPlate],
    joints: Sequence[Joint],
    *,
    rows: Sequence[RivetHoles] = (),
    attachments: Sequence[AttachmentDesign] = (),
    bought: Sequence[Bought] = (),
    own: Sequence[OwnHardware] = (),
) -> tuple[HardwareItem, ...]:
    """Return the list: rivets by size and length, washers, screws, wire, straps', the maker's own.

    ``rows`` are all rows of holes: those along relief cuts join no plates.

    Raises
    ------
    InputError
        When no rivet or screw as sold closes a stack.
    """
    stuff = {flat.design.name: flat.design for flat in flats}
    plate_of = {plate.number: plate for plate in plates}
    rivets: dict[tuple[str, str, str], list[tuple[int, str, bool]]] = {}
    for joint in joints:
        soft = any(
            sheet_material_named(stuff[plate_of[number].design].material).name in _SOFT
            for number in (joint.lap, joint.plate)
        )
        key = _bought_as(joint.rivet, joint.length_mm)
        rivets.setdefault(key, []).append((len(joint.at_mm), f"'{joint.line}'", soft))
    by_name = {flat.design.name: flat for flat in flats}
    for row in rows:
        flat = by_name[row.patch]
        line = flat.outline[row.edge].line
        if is_cut_edge(line):
            soft = sheet_material_named(flat.design.material).name in _SOFT
            count = len(row.holes_mm) * (2 if flat.design.paired else 1)
            key = _bought_as(row.rivet, row.length_mm)
            rivets.setdefault(key, []).append((count, f"'{line}' of '{row.patch}'", soft))
    items = []
    for (item, size, note), set_where in sorted(rivets.items()):
        needed = sum(count for count, _, _ in set_where)
        where = ", ".join(dict.fromkeys(line for _, line, _ in set_where))
        items.append(HardwareItem(item, size, needed, _spares(needed), None, where, note))
        on_soft = sum(count for count, _, soft in set_where if soft)
        if on_soft:
            diameter = size.split(" ")[0]
            note = "under the head that lies on leather, foam or card"
            size = f"for {diameter} rivet"
            spare = _spares(on_soft)
            items.append(HardwareItem("washer", size, on_soft, spare, None, where, note))
    items += _cut_straps(flats)
    items += _screws(attachments, stuff)
    items += _wires(flats)
    items += [_held(one) for one in bought]
    items += _owns(own, stuff)
    return tuple(items)


def hardware_csv(items: Iterable[HardwareItem]) -> bytes:
    """Return the list as a table for a spreadsheet."""
    rows = [
        [
            one.item,
            one.size,
            one.needed,
            one.spare,
            one.to_buy,
            "" if one.length_mm is None else f"{one.length_mm:.0f}",
            one.where,
            one.note,
        ]
        for one in items
    ]
    return spreadsheet(_COLUMNS, rows)


def _bought_as(rivet: Rivet, length_mm: float) -> tuple[str, str, str]:
    """Return a rivet's item, size and note."""
    return rivet.noun_with_metal, rivet.size_in_words(length_mm), rivet.length_note


def _held(one: Bought) -> HardwareItem:
    """Return what a strap or fastener wants; of its rivets some are spoilt as of any."""
    spare = _spares(one.count) if one.item.endswith("rivet") else 0
    return HardwareItem(
        one.item, one.size, one.count, spare, one.length_mm, f"'{one.where}'", one.note
    )


def _spares(count: int) -> int:
    return max(_LEAST_SPARE, math.ceil(_SPARE_SHARE * count - 1e-9))


def _formed_mm(edge: FlatEdge) -> float:
    return float(edge.formed_arc_mm[-1])


def _screws(
    attachments: Sequence[AttachmentDesign], stuff: Mapping[str, PatchDesign]
) -> list[HardwareItem]:
    items: dict[tuple[str, str], list[tuple[int, str]]] = {}
    for one in attachments:
        if one.tabs == 0:
            continue
        plate = stuff[one.on]
        screw = one.screw
        size = screw.size_in_words(screw.stock_length_for(one.thickness_mm + plate.thickness_mm))
        count = one.tabs * (2 if plate.paired else 1)
        key = (screw.noun_with_metal, size)
        items.setdefault(key, []).append((count, f"'{one.name}' on '{one.on}'"))
    made = []
    for (item, size), rows in sorted(items.items()):
        needed = sum(count for count, _ in rows)
        where = ", ".join(words for _, words in rows)
        note = "or a rivet of the hole's size"
        made.append(HardwareItem(item, size, needed, _spares(needed), None, where, note))
    return made


def _cut_straps(flats: Sequence[FlatPatch]) -> list[HardwareItem]:
    """Return the strips behind riveted relief cuts: of the plate's own sheet, one each."""
    items = []
    for flat in flats:
        design = flat.design
        treatment = edge_treatment(design, CUT)
        if treatment.rivets is None or not flat.cuts:
            continue
        sheet = f"{design.material} {design.thickness_mm:g} mm"
        sizes = Counter(
            f"{strap_width_mm(treatment):.0f} × {math.ceil(cut.length_mm)} mm" for cut in flat.cuts
        )
        twice = 2 if design.paired else 1
        items += [
            HardwareItem(
                "strip behind a cut", size, count * twice, 0, None, f"'{design.name}'",
                f"cut from {sheet}, curved as the plate is there",
            )
            for size, count in sorted(sizes.items())
        ]  # fmt: skip
    return items


def _wires(flats: Sequence[FlatPatch]) -> list[HardwareItem]:
    lengths: dict[float, list[tuple[float, int, str]]] = {}
    for flat in flats:
        for edge in flat.outline:
            treatment = edge_treatment(flat.design, edge.line)
            if treatment.kind == "wire":
                twice = 2 if flat.design.paired else 1
                lengths.setdefault(treatment.size_mm, []).append(
                    (_formed_mm(edge) + _WIRE_OVER_MM, twice, f"'{edge.line}'")
                )
    items = []
    for size, rows in sorted(lengths.items()):
        pieces = ", ".join(f"{twice} of {length:.0f} mm ({line})" for length, twice, line in rows)
        whole = sum(length * twice for length, twice, _ in rows)
        items.append(
            HardwareItem("edge wire", f"{size:g} mm", sum(t for _, t, _ in rows), 0,
                         float(np.ceil(whole / 10.0) * 10.0), pieces,
                         "soft wire of the sheet's own metal, or lacquered: bare steel corrodes "
                         "aluminium")
        )  # fmt: skip
    return items


def _owns(own: Sequence[OwnHardware], stuff: Mapping[str, PatchDesign]) -> list[HardwareItem]:
    items = []
    for one in own:
        twice = 2 if one.on and stuff[one.on].paired else 1
        count = one.count * twice
        size = "" if one.length_mm is None else f"{one.length_mm:g} mm"
        where = f"'{one.on}'" if one.on else ""
        items.append(HardwareItem(one.name, size, count, 0, None, where, one.note))
    return items
