"""Lines drawn place by place: what each click, drag or slider makes of a row of ``job.toml``."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

if TYPE_CHECKING:
    from fitkit.geometry.surface_path import SurfacePath
    from fitkit.workflow.design_view import LinesView

__all__ = [
    "DrawnKind",
    "drawn_row",
    "free_name",
    "leaning_lines",
    "mirrored_row",
    "next_leg",
]

DrawnKind: TypeAlias = Literal["geodesic", "through"]
"""The shortest way from place to place, or a smooth line through them."""


def drawn_row(
    name: str, kind: DrawnKind, places: Sequence[Mapping[str, Any]], *, closed: bool = False
) -> dict[str, Any]:
    """Return the row of a line through places."""
    row: dict[str, Any] = {"name": name, "kind": kind}
    if closed:
        row["closed"] = True
    return {**row, "points": [dict(place) for place in places]}


def mirrored_row(name: str, of: str) -> dict[str, Any]:
    """Return the row of a line drawn again on the other side."""
    return {"name": name, "kind": "mirrored", "of": of}


def free_name(wanted: str, taken: Collection[str]) -> str:
    """Return a name that is not taken: the wanted one, or that with a number."""
    if wanted not in taken:
        return wanted
    return next(f"{wanted} {n}" for n in range(2, len(taken) + 3) if f"{wanted} {n}" not in taken)


def leaning_lines(lines: LinesView, name: str) -> frozenset[str]:
    """Return a line and all that lean on it, which it may not lean on in turn."""
    from fitkit.patch.line_network import lines_below

    return frozenset(
        design.name
        for design in lines.told
        if any(one.name == name for one in lines_below(design.name, lines.told))
    )


def next_leg(
    lines: LinesView,
    kind: DrawnKind,
    places: Sequence[Mapping[str, Any]],
    to: Mapping[str, Any],
    *,
    other_side: bool = False,
) -> list[SurfacePath]:
    """Return how a line would run on to one more place, and its mirrored twin where asked for.

    Raises
    ------
    DesignError, JobError
        When it cannot.
    """
    from fitkit.workflow.design_view import redrawn_lines

    known = [design.name for design in lines.told]
    leg = free_name("leg", known)
    last = places[-1:] if kind == "geodesic" else places
    rows = [drawn_row(leg, kind, [*last, to])]
    if other_side:
        rows.append(mirrored_row(free_name("twin", known), leg))
    redrawn = redrawn_lines(lines, rows)
    return [line.path for line in redrawn.drawn.lines if line.name not in known]
