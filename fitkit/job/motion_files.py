"""What the joints' motion gave, as files: JSON for programs and a table for a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.body.joints import Joint
from fitkit.geometry.arrays import Floats
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json, reading_result
from fitkit.motion.lames import LameFastening
from fitkit.motion.motion_findings import carrier_name
from fitkit.motion.pivot import PlacedPivot, pivot_sizes
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.sweep import Swept
from fitkit.motion.trim import Trim
from fitkit.spreadsheet import spreadsheet

__all__ = [
    "MOTION_FILE",
    "TRIMS_PICTURE",
    "TrimOffer",
    "motion_files",
    "read_lames",
    "read_motion",
    "read_pivots",
    "read_trims",
]

MOTION_FILE = "motion.json"
TRIMS_PICTURE = "trims.png"
_FORMAT = 1


@dataclass(frozen=True, slots=True, eq=False)
class TrimOffer:
    """A trim as the file tells it: its patch, how wide at most, what it frees, and its lines.

    ``lines_mm`` (N, 3) float mm each, on the patch as drawn.
    """

    patch: str
    width_mm: float
    frees: tuple[str, ...]
    lines_mm: tuple[Floats, ...]


def motion_files(
    joints: Mapping[str, Joint],
    plates: Sequence[RidingPlate],
    swept: Sequence[Swept],
    trims: Sequence[Trim],
    trimmed: Sequence[Swept],
    lames: Sequence[LameFastening] = (),
    pivots: Sequence[PlacedPivot] = (),
) -> dict[str, bytes]:
    """Return ``motion.json`` and ``motion.csv``; lengths in mm, angles in degrees."""
    after = {one.asked.name: one for one in trimmed}
    values: dict[str, Any] = {
        "format": _FORMAT,
        "unit": "mm",
        "joints": [
            {
                "name": joint.name,
                "centre_mm": _rounded(joint.centre_mm),
                "holds": joint.holds,
                "moves": joint.moves,
                "confidence": round(joint.confidence, 2),
                "source": joint.source,
            }
            for joint in joints.values()
        ],
        "plates": [
            {
                "name": plate.name,
                "patch": plate.patch,
                "rides_on": carrier_name(plate, joints),
            }
            for plate in plates
        ],
        "ranges": [_range(one, after.get(one.asked.name)) for one in swept],
        "trims": [
            {
                "patch": trim.patch,
                "width_mm": round(trim.width_mm, 1),
                "area_mm2": round(trim.area_mm2, 1),
                "share": round(trim.share, 4),
                "middle_mm": _rounded(trim.middle_mm),
                "inside_mm": _rounded(trim.inside_mm),
                "frees": list(trim.frees),
                "lines_mm": [_rounded(line) for line in trim.lines_mm],
            }
            for trim in trims
        ],
    }
    values["lames"] = [
        {
            "upper": one.upper,
            "lower": one.lower,
            "pivots_mm": _rounded(one.pivots_mm),
            "slide_mm": _rounded(one.slide_mm),
            "slot_mm": round(one.slot_mm, 1),
            "slot_ends_mm": _rounded(one.slot_ends_mm),
            "gap_mm": round(one.gap_mm, 1),
        }
        for one in lames
    ]
    values["pivots"] = [
        {
            "patch": one.patch,
            "joint": one.joint,
            "screw_mm": one.screw_mm,
            **pivot_sizes(one.screw_mm),
            "holes_mm": _rounded(one.holes_mm),
            "rise_mm": round(one.rise_mm, 2),
        }
        for one in pivots
    ]
    return {MOTION_FILE: json_bytes(values, indent=1), "motion.csv": _table(values["ranges"])}


def read_motion(folder: Path) -> dict[str, Any]:
    """Return the values of ``motion.json``.

    Raises
    ------
    JobError
        When it is missing or damaged.
    """
    return read_result_json(folder, MOTION_FILE, _FORMAT)


def read_pivots(folder: Path) -> tuple[PlacedPivot, ...]:
    """Return the pivots that were placed.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_motion(folder)
    with reading_result(folder, MOTION_FILE):
        return tuple(
            PlacedPivot(
                row["patch"],
                row["joint"],
                float(row["screw_mm"]),
                np.array(row["holes_mm"]),
                float(row["rise_mm"]),
            )
            for row in values["pivots"]
        )


def read_lames(folder: Path) -> tuple[LameFastening, ...]:
    """Return where lames are fastened to each other, plates told by their patches.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_motion(folder)
    with reading_result(folder, MOTION_FILE):
        patch_of = {row["name"]: row["patch"] for row in values["plates"]}
        return tuple(
            LameFastening(
                patch_of[row["upper"]],
                patch_of[row["lower"]],
                np.array(row["pivots_mm"]),
                np.array(row["slide_mm"]),
                float(row["slot_mm"]),
                np.array(row["slot_ends_mm"]),
                float(row["gap_mm"]),
            )
            for row in values["lames"]
        )


def read_trims(folder: Path) -> tuple[TrimOffer, ...]:
    """Return the trims that were offered.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_motion(folder)
    with reading_result(folder, MOTION_FILE):
        return tuple(
            TrimOffer(
                row["patch"],
                float(row["width_mm"]),
                tuple(row["frees"]),
                tuple(np.array(line, dtype=np.float64) for line in row["lines_mm"]),
            )
            for row in values["trims"]
        )


def _range(one: Swept, after: Swept | None) -> dict[str, Any]:
    asked = one.asked
    return {
        "name": asked.name,
        "because": asked.because,
        "rest_deg": _degrees(asked.angle_rad(0.0)),
        "wanted_deg": _degrees(asked.angle_rad(1.0)),
        "free_deg": _degrees(one.free_rad),
        "free_after_trim_deg": _degrees((after or one).free_rad),
        "angles_deg": [_degrees(asked.angle_rad(part)) for part in one.parts.tolist()],
        "room_mm": [round(room, 2) for room in one.room_mm.tolist()],
        "contacts": [
            {
                "plate": contact.plate,
                "other": contact.other,
                "angle_deg": _degrees(contact.angle_rad),
                "depth_mm": round(contact.depth_mm, 1),
                "at_mm": _rounded(contact.at_mm),
            }
            for contact in one.contacts
        ],
    }


def _table(ranges: Sequence[Mapping[str, Any]]) -> bytes:
    rows = []
    head = ("movement", "rest_deg", "wanted_deg", "because", "free_deg", "free_after_trim_deg",
            "plate", "meets", "at_deg", "depth_mm")  # fmt: skip
    for row in ranges:
        own = [row[name] for name in head[1:6]]
        for contact in row["contacts"] or [{}]:
            met = [contact.get(key, "") for key in ("plate", "other", "angle_deg", "depth_mm")]
            rows.append([row["name"], *own, *met])
    return spreadsheet(head, rows)


def _degrees(angle_rad: float) -> float:
    return round(float(np.degrees(angle_rad)), 1)


def _rounded(points: Any) -> Any:
    return np.round(points, 2).tolist()
