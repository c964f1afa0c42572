"""How tight a sheet may be bent cold before it cracks, by alloy, temper and thickness."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from fitkit.errors import InputError

__all__ = ["LeastRadius", "least_bend_radius", "outer_fibre_strain"]

_ALLOY_NOT_KNOWN = "aluminium"


@dataclass(frozen=True, slots=True)
class LeastRadius:
    """The tightest bend a sheet is told to take.

    Attributes
    ----------
    radius_mm
        Inside radius, 0 where it may be folded flat.
    temper
        The material whose row it is. For an alloy that is not known, the one that bends worst.
    source, confidence
        As in the table.
    """

    radius_mm: float
    temper: str
    source: str
    confidence: str


def least_bend_radius(material: str, thickness_mm: float) -> LeastRadius | None:
    """Return the least inside radius of a right-angled cold bend.

    Between two columns of the table the thicker one holds. None for what the table does not
    have: card, foam and leather are not bent by it.

    Raises
    ------
    InputError
        When the sheet is thicker than the table goes.
    """
    if not thickness_mm > 0:
        raise InputError("A sheet needs a thickness above zero.", "Give it in mm.")
    columns, rows = _table()
    wanted = (
        {name: row for name, row in rows.items() if name.startswith(f"{_ALLOY_NOT_KNOWN} ")}
        if material == _ALLOY_NOT_KNOWN
        else {name: row for name, row in rows.items() if name == material}
    )
    if not wanted:
        return None
    # A column stands for the metric sheet sold in its place: 1/16 in as 1.6 mm.
    column = next((i for i, t in enumerate(columns) if thickness_mm <= t + 0.015), None)
    if column is None:
        raise InputError(
            f"The table of bend radii ends at {columns[-1]:g} mm; the sheet has {thickness_mm:g}.",
            "Ask the sheet's maker for its least bend radius.",
        )
    name, (times, source, confidence) = max(wanted.items(), key=lambda row: row[1][0][column])
    return LeastRadius(times[column] * thickness_mm, name, source, confidence)


def outer_fibre_strain(inside_radius_mm: float, thickness_mm: float) -> float:
    """Return how much the outside of a bend is stretched: ``1 / (2 R / t + 1)``.

    The neutral line in the middle of the sheet.
    """
    if inside_radius_mm < 0 or not thickness_mm > 0:
        raise InputError(
            "A bend needs a radius of zero or more and a thickness.", "Check the two numbers."
        )
    return 1.0 / (2.0 * inside_radius_mm / thickness_mm + 1.0)


@cache
def _table() -> tuple[tuple[float, ...], dict[str, tuple[tuple[float, ...], str, str]]]:
    text = files("fitkit.materials").joinpath("bend_radii.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    columns = tuple(float(t) for t in table["thickness_mm"])
    rows = {
        row["material"]: (tuple(float(x) for x in row["times"]), row["source"], row["confidence"])
        for row in table["radius"]
    }
    return columns, rows
