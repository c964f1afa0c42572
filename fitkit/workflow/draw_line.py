"""Lines drawn place by place: what each click, drag or slider makes of a row of ``job.toml``."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

if TYPE_CHECKING:
    from fitkit.geometry.surface_path import SurfacePath
    from fitkit.workflow.design_view import LinesView

__all__ = [
    "DrawnKind",
    "axis_range_mm",
    "drawn_row",
    "free_name",
    "has_twin",
    "leaning_lines",
    "line_facts",
    "middle_height_mm",
    "mirrored_row",
    "missing_symmetry",
    "new_level_row",
    "next_leg",
    "on_axis",
    "parallel_row",
    "twin_name",
    "with_moved",
]

DrawnKind: TypeAlias = Literal["geodesic", "through", "round"]
"""The shortest way from place to place, a smooth line, or a circle by its middle and rim."""


def drawn_row(
    lines: LinesView,
    name: str,
    kind: DrawnKind,
    places: Sequence[Mapping[str, Any]],
) -> dict[str, Any]:
    """Return the row of a line through places.

    Raises
    ------
    DesignError, JobError
        When a circle's middle and the place on it are not on the body.
    """
    if kind != "round":
        return {"name": name, "kind": kind, "points": [dict(place) for place in places]}
    (spoke,) = next_leg(lines, "geodesic", places[:1], places[1])
    radius_mm = round(spoke.length_mm(), 1)
    return {"name": name, "kind": kind, "centre": dict(places[0]), "radius_mm": radius_mm}


def parallel_row(lines: LinesView, of: str) -> dict[str, Any]:
    """Return the row of a line 40 mm beside another: above a level, round a ring, else left."""
    from fitkit.patch.design import LevelLine, SymmetryLine

    design = next(one for one in lines.told if one.name == of)
    closed = next(line.path.closed for line in lines.drawn.lines if line.name == of)
    name = free_name(f"beside {of}", [design.name for design in lines.told])
    ring = closed and not isinstance(design, SymmetryLine)
    towards = "up" if isinstance(design, LevelLine) else "out" if ring else "left"
    return {"name": name, "kind": "parallel", "of": of, "distance_mm": 40, "towards": towards}


def mirrored_row(name: str, of: str) -> dict[str, Any]:
    """Return the row of a line drawn again on the other side."""
    return {"name": name, "kind": "mirrored", "of": of}


def twin_name(name: str) -> str:
    """Return what a line's twin is called: left for right, or the same with a word more."""
    from fitkit.patch.mirrored_line import other_side

    other = other_side(name)
    return f"{name} mirrored" if other == name else other


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
    rows = [drawn_row(lines, leg, kind, [*last, to])]
    if other_side:
        rows.append(mirrored_row(free_name("twin", known), leg))
    redrawn = redrawn_lines(lines, rows)
    return [line.path for line in redrawn.drawn.lines if line.name not in known]


def with_moved(
    points: Sequence[Mapping[str, Any]], moved: Mapping[int, Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """Return the places of a line with some of them, counted from 1, elsewhere."""
    return [moved.get(number, point) for number, point in enumerate(points, 1)]


def axis_range_mm(lines: LinesView, axis: str) -> tuple[float, float]:
    """Return the heights that an axis reaches from and to."""
    found = lines.drawn.form.body.axis(axis)
    low, high = sorted(float(end[2]) for end in (found.start_mm, found.end_mm))
    return low, high


def middle_height_mm(lines: LinesView) -> float:
    """Return the height halfway up the trunk, to the centimetre."""
    low, high = axis_range_mm(lines, "trunk")
    return round(0.5 * (low + high), -1)


def new_level_row(lines: LinesView, height_mm: float) -> dict[str, Any]:
    """Return the row of one more level line of the trunk."""
    name = free_name("level", [design.name for design in lines.told])
    return {"name": name, "kind": "level", "height_mm": height_mm}


def on_axis(lines: LinesView, axis: str) -> dict[str, Any]:
    """Return what tells a level line afresh on another axis, halfway along it."""
    if axis == "trunk":
        return {"kind": "level", "height_mm": middle_height_mm(lines)}
    return {"kind": "level", "axis": axis, "along": 0.5}


def missing_symmetry(lines: LinesView) -> bool:
    """Whether no line runs down the middle yet."""
    from fitkit.patch.design import SymmetryLine

    return not any(isinstance(design, SymmetryLine) for design in lines.told)


def has_twin(lines: LinesView, name: str) -> bool:
    """Whether a line lies on both sides, by itself or by another line."""
    from fitkit.patch.design import LevelLine, MirroredLine, SymmetryLine
    from fitkit.patch.mirrored_line import other_side

    design = next((one for one in lines.told if one.name == name), None)
    if design is None or isinstance(design, SymmetryLine | MirroredLine):
        return True
    if isinstance(design, LevelLine) and other_side(design.axis) == design.axis:
        return True
    return any(isinstance(one, MirroredLine) and one.of == name for one in lines.told)


def line_facts(lines: LinesView, name: str) -> tuple[str, ...]:
    """Return in words how long a line is, where it ends, or why it cannot be laid."""
    from fitkit.patch.place_in_words import place_in_words

    if name in lines.faults:
        fault = lines.faults[name]
        return fault.cause, fault.remedy
    path = next(line.path for line in lines.drawn.lines if line.name == name)
    length = f"{path.length_mm():.1f} mm long"
    if path.closed:
        return (f"{length}, closed",)
    ends = (place_in_words(lines.drawn.form.body, path.points_mm[i]) for i in (0, -1))
    return (length, *(f"{word} {place}" for word, place in zip(("from", "to"), ends, strict=True)))
