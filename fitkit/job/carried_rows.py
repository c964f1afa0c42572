"""The lines, patches, pads and attachments of ``job.toml`` written anew for another body."""

from __future__ import annotations

from collections.abc import MutableMapping, MutableSequence
from typing import Any

import numpy as np
import tomlkit
from tomlkit.items import AoT

from fitkit.errors import JobError
from fitkit.patch.landmark_map import LandmarkMap
from fitkit.units import parse_length_mm

__all__ = ["DESIGN_ROWS", "carried_rows", "with_rows_of"]

DESIGN_ROWS = (
    "fastener",
    "padding",
    "line",
    "patch",
    "attachment",
    "artwork",
    "strap",
    "pad",
    "gusset",
)
"""The rows that make up a design."""

# Lengths over the surface that grow with the body; sheet, laps and clearance do not.
_GROWING = ("radius_mm", "distance_mm", "within_mm")


def carried_rows(text: str, carried: LandmarkMap) -> str:
    """Return the text with every place of the design where the map takes it.

    Heights and points go by the map; distances over the surface (of parallel and round lines)
    grow by the bodies' scale. Landmarks, fractions and bearings stay; so does all else.
    """
    document = tomlkit.parse(text)
    for section in DESIGN_ROWS:
        for row in document.get(section, []):
            # What stands or lies on a plate keeps its own size: only its place goes by the map.
            own = section in ("attachment", "artwork")
            _carry(row.get("at", {}) if own else row, carried)
    return tomlkit.dumps(document)


def with_rows_of(text: str, other: str) -> str:
    """Return the text of a job with the design of another, its ``[form]`` included.

    Raises
    ------
    JobError
        When the job has lines, patches or pads already.
    """
    document, design = tomlkit.parse(text), tomlkit.parse(other)
    drawn = [section for section in DESIGN_ROWS if document.get(section)]
    if drawn:
        raise JobError(
            f"This job has {' and '.join(f'[[{section}]]' for section in drawn)} rows already.",
            "Take them out of job.toml first, or start another job.",
        )
    rows = tomlkit.document()
    for key, value in list(design.items()):
        if key in DESIGN_ROWS and isinstance(value, AoT):
            rows[key] = value
    if "form" in design:
        document["form"] = design["form"]
    head = tomlkit.dumps(document).rstrip("\n")
    return f"{head}\n\n{tomlkit.dumps(rows).lstrip()}"


def _carry(values: MutableMapping[str, Any], carried: LandmarkMap) -> None:
    for key, value in list(values.items()):
        if key == "height_mm":
            values[key] = round(carried.height_mm(_length(value)), 1)
        elif key == "xyz_mm":
            point = carried.point_mm(np.array([_length(part) for part in value]))[0]
            values[key] = [round(float(part), 1) for part in point]
        elif key in _GROWING:
            values[key] = round(_length(value) * carried.scale, 1)
        elif isinstance(value, MutableMapping):
            _carry(value, carried)
        elif isinstance(value, MutableSequence):
            for item in value:
                if isinstance(item, MutableMapping):
                    _carry(item, carried)


def _length(value: Any) -> float:
    return parse_length_mm(value)
