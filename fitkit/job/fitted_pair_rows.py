"""A pair in ``job.toml`` parted into two patches, each fitted to its own side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit

from fitkit.errors import JobError
from fitkit.job.designs import line_designs, patch_designs
from fitkit.job.settings import JobSettings, PatchSection
from fitkit.job.settings_edits import with_row
from fitkit.job.settings_text import read_settings
from fitkit.patch.design import PatchDesign, TapeLineDesign
from fitkit.patch.mirrored_line import other_side
from fitkit.patch.twin_lines import twin_lines

__all__ = ["with_fitted_pair"]


def with_fitted_pair(text: str, name: str) -> tuple[str, str]:
    """Return the text with a pair parted, and the name of the other side's patch.

    The patch stays as it is drawn, for its own side; the other gets a ``[[patch]]`` row with
    every place mirrored, bounded by the lines that mirror its own: those there are already, else
    rows of kind ``mirrored`` are added. Both may then be changed each by itself.

    Raises
    ------
    JobError
        When there is no such patch, or it is no pair.
    """
    settings = read_settings(text)
    section = _pair_named(settings, name)
    design = next(one for one in patch_designs(settings) if one.name == section.name)
    lines = line_designs(settings)
    twins, added = twin_lines(lines, _lines_of(design, lines))
    for line in added:
        text = with_row(text, "line", {"name": line.name, "kind": "mirrored", "of": line.of})
    taken = {row.name for row in settings.patch}
    other = other_side(section.name)
    if other == section.name or other in taken:
        other = f"{section.name} fitted"
    document = tomlkit.parse(text)
    row = next(one for one in document["patch"] if one["name"].split() == section.name.split())
    row.remove("pair")
    values = _mirrored_row(row.unwrap(), twins)
    values["name"] = other
    values["side"] = "right" if section.side == "left" else "left"
    return with_row(tomlkit.dumps(document), "patch", values), other


def _pair_named(settings: JobSettings, name: str) -> PatchSection:
    wanted = " ".join(name.split())
    section = next((row for row in settings.patch if row.name == wanted), None)
    pairs = ", ".join(f"'{row.name}'" for row in settings.patch if row.pair) or "none"
    if section is None:
        raise JobError(f"There is no patch called '{wanted}'.", f"Pairs here: {pairs}.")
    if not section.pair:
        raise JobError(
            f"The patch '{wanted}' is not made in a pair.",
            f"Write pair = true into its row first. Pairs here: {pairs}.",
        )
    return section


def _lines_of(design: PatchDesign, lines: tuple[TapeLineDesign, ...]) -> list[str]:
    known = {line.name for line in lines}
    cuts = [row for row in design.no_cuts if isinstance(row, str)]
    along = [] if design.grain is None else [design.grain.along]
    named = [*design.boundary, *design.edges, *design.hold, *cuts, *along, *design.seams]
    return [name for name in dict.fromkeys(named) if name in known]


def _mirrored_row(values: dict[str, Any], twins: Mapping[str, str]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for key, value in values.items():
        if key in ("lines", "hold", "seam") and isinstance(value, list):
            made[key] = [twins.get(line, line) for line in value]
        elif key == "grain" or (key == "seam" and isinstance(value, str)):
            made[key] = twins.get(value, value)
        elif key == "edges":
            made[key] = {twins.get(line, line): edge for line, edge in value.items()}
        elif key == "no_cuts":
            made[key] = [
                twins.get(v, v) if isinstance(v, str) else _mirrored(v, twins) for v in value
            ]
        elif key == "grain_deg":
            made[key] = -value
        else:
            made[key] = _mirrored(value, twins)
    return made


def _mirrored(value: Any, twins: Mapping[str, str]) -> Any:
    """Mirror the places in a value; leave everything else as it is."""
    if isinstance(value, list):
        return [_mirrored(item, twins) for item in value]
    if not isinstance(value, dict):
        return value
    made = {key: _mirrored(item, twins) for key, item in value.items()}
    if "bearing_deg" in made:
        made["bearing_deg"] = (360 - made["bearing_deg"]) % 360
    if "xyz_mm" in made:
        x, *rest = made["xyz_mm"]
        made["xyz_mm"] = [_negative(x), *rest]
    for key in ("landmark", "axis"):
        if key in made:
            made[key] = other_side(made[key])
    if "between" in made:
        made["between"] = [other_side(e) if isinstance(e, str) else e for e in made["between"]]
    for key in ("line", "crossing"):
        if key in made:
            made[key] = twins.get(made[key], made[key])
    return made


def _negative(length: Any) -> Any:
    if isinstance(length, str):
        return length[1:] if length.lstrip().startswith("-") else f"-{length.lstrip()}"
    return -length
