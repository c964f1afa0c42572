"""What fastens a plate that comes off to the one under it: which kind, and where it is drilled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.geometry.straight_walk import unit_normals
from fitkit.holding.bought import Bought
from fitkit.holding.fastener_design import FastenerDesign, FastenerKind, Load
from fitkit.holding.fixing import Fixing
from fitkit.holding.reach import Tool
from fitkit.holding.seat import Seat
from fitkit.holding.worn_sheet import WornSheet
from fitkit.materials.rivet import rivet_named

__all__ = ["LaidFastener", "advised", "lay_fastener"]

_POST, _BUTTON_RIVET = "post 5", "blind 3.2"
# Sizes as sold, with their room; common practice, no source.
_BUTTON_SLOT_MM, _BUTTON_WIDE_MM = 21.0, 9.0
_TAPE_MM = (25.0, 50.0)
_MAGNET_MM = 15.0
# Plates farther apart than this do not lie on each other.
_APART_MM = 15.0
_RING = 24
_TOOLS: dict[FastenerKind, Tool] = {
    "screw and post": "driver",
    "turn button": "hand",
    "hook and loop": "hand",
    "magnet": "hand",
}


@dataclass(frozen=True, slots=True, eq=False)
class LaidFastener:
    """A fastener with its seats and what to buy, the kind and why, and what opens it where."""

    design: FastenerDesign
    kind: FastenerKind
    why: str
    seats: tuple[Seat, ...]
    bought: tuple[Bought, ...]
    tool: Tool
    at_mm: Floats
    outward: Floats


def advised(load: Load, *, often: bool, soft: bool) -> tuple[FastenerKind, str]:
    """Return which fastener suits, and why in words. Common practice, no source.

    Parameters
    ----------
    soft
        Whether one of the two is card, foam or leather, which holds no small screw for long.
    """
    if not often:
        if load == "light" and soft:
            return "hook and loop", "light and soft, seldom opened: tape needs no holes"
        return "screw and post", "seldom opened: a post holds most and cannot work loose"
    if load == "light":
        if soft:
            return "hook and loop", "light and opened often: opens by a pull"
        return "magnet", "light, stiff and opened often: finds its place by itself"
    if load == "medium":
        return "turn button", "opened often under some pull: closed by a quarter turn, no tool"
    return (
        "screw and post",
        "pulled hard: only a post or a strap holds; opened so often, better a [[strap]] and buckle",
    )


def lay_fastener(
    design: FastenerDesign,
    sheets: tuple[WornSheet, WornSheet],
    at_mm: Floats,
    *,
    soft: bool,
) -> LaidFastener:
    """Return a fastener through two plates that lie on each other.

    Parameters
    ----------
    sheets
        The outer plate and the one under it, as worn.
    at_mm
        (3,) float mm: where.
    soft
        As for :func:`advised`.

    Raises
    ------
    DesignError
        When the plates do not lie on each other there.
    InputError
        When no post as sold closes the two sheets.
    """
    places, normals = [], []
    for sheet in sheets:
        on, face, away = nearest_on_mesh(sheet.mesh, at_mm[None])
        if away[0] > _APART_MM or not sheet.holds(at_mm[None])[0]:
            raise DesignError(
                f"The fastener '{design.name}' is not where '{design.on[0]}' lies on "
                f"'{design.on[1]}': '{sheet.patch}' ends before it.",
                "Move it to where both are; for a lap along a seam give that edge rivets = "
                '"post 5" or "screw M4" instead.',
            )
        places.append(on[0])
        normals.append(unit_normals(sheet.mesh, face)[0])
    kind, why = (
        (design.kind, "as told")
        if design.kind
        else advised(design.load, often=design.often, soft=soft)
    )
    seats = [
        _seat(design, kind, sheet, sheets[1 - k].material, place, normal, outer=k == 0)
        for k, (sheet, place, normal) in enumerate(zip(sheets, places, normals, strict=True))
    ]
    if design.paired:
        own = zip(tuple(seats), sheets, strict=True)
        seats += [seat.on_other_side(paired=sheet.paired) for seat, sheet in own]
    outside = places[0] + 0.5 * sheets[0].thickness_mm * normals[0]
    bought = _bought(design, kind, sheets[0].thickness_mm + sheets[1].thickness_mm)
    return LaidFastener(design, kind, why, tuple(seats), bought, _TOOLS[kind], outside, normals[0])


def _seat(
    design: FastenerDesign,
    kind: FastenerKind,
    sheet: WornSheet,
    meets: str,
    place: Floats,
    normal: Floats,
    *,
    outer: bool,
) -> Seat:
    up = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    if np.linalg.norm(up) < 0.05:
        up = np.array([0.0, -1.0, 0.0]) + normal[1] * normal
    up /= np.linalg.norm(up)
    right = np.cross(up, normal)
    holes, slots, outline = place[None], np.zeros((0, 2, 3)), np.zeros((0, 3))
    other = design.on[1] if outer else design.on[0]
    hole_mm, said, rivet = 0.0, f"to '{other}': {kind} '{design.name}'", ""
    if kind == "screw and post":
        rivet, hole_mm = _POST, rivet_named(_POST).hole_mm[0]
        said += f", drill {hole_mm:g} mm"
    elif kind == "turn button" and outer:
        hole_mm = _BUTTON_WIDE_MM
        reach = 0.5 * (_BUTTON_SLOT_MM - _BUTTON_WIDE_MM)
        holes = np.stack([place - reach * up, place + reach * up])
        slots = holes[None]
        said += f", slot {_BUTTON_SLOT_MM:g} × {_BUTTON_WIDE_MM:g} mm"
    elif kind == "turn button":
        rivet, hole_mm = _BUTTON_RIVET, rivet_named(_BUTTON_RIVET).hole_mm[0]
        said += f", drill {hole_mm:g} mm for its rivet"
    else:
        holes, hole_mm = np.zeros((0, 3)), 1.0
        if kind == "magnet":
            turn = 2.0 * np.pi * np.arange(_RING) / _RING
            ring = np.cos(turn)[:, None] * right + np.sin(turn)[:, None] * up
            outline = place + 0.5 * _MAGNET_MM * ring
            said += f", {_MAGNET_MM:g} mm across"
        else:
            wide, high = _TAPE_MM
            corners = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
            outline = place + 0.5 * (wide * corners[:, :1] * right + high * corners[:, 1:] * up)
            said += f", {'loop' if outer else 'hook'} tape {wide:g} × {high:g} mm"
    on = [nearest_on_mesh(sheet.mesh, np.reshape(one, (-1, 3)))[0] if one.size else one
          for one in (holes, outline, slots)]  # fmt: skip
    return Seat(
        design.name,
        sheet.patch,
        sheet.twin,
        sheet.as_drawn(on[0]),
        hole_mm,
        2.0 * hole_mm,
        sheet.as_drawn(on[1]),
        said,
        sheet.as_drawn(np.reshape(on[2], (-1, 3))),
        Fixing() if kind == "hook and loop" else Fixing(rivet, meets=(meets,)),
    )


def _bought(design: FastenerDesign, kind: FastenerKind, stack_mm: float) -> tuple[Bought, ...]:
    twice = 2 if design.paired else 1

    def row(item: str, size: str, count: int = 1, length_mm: float | None = None) -> Bought:
        return Bought(item, size, count * twice, design.name, design.on, length_mm)

    if kind == "screw and post":
        post = rivet_named(_POST)
        return (row(post.noun_with_metal, post.size_in_words(post.stock_length_for(stack_mm))),)
    if kind == "turn button":
        return (row("turn button", f"for a slot {_BUTTON_SLOT_MM:g} × {_BUTTON_WIDE_MM:g} mm"),)
    if kind == "magnet":
        return (row("magnet", f"{_MAGNET_MM:g} mm across, in pairs that attract", 2),)
    wide, high = _TAPE_MM
    return (row("hook tape", f"{wide:g} mm", 1, high), row("loop tape", f"{wide:g} mm", 1, high))
