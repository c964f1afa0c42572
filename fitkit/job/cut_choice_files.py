"""The choices of relief cuts of a patch as a file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fitkit.flatten.cut_choice import CutChoice
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json, reading_result
from fitkit.job.settings import file_stem

__all__ = ["choices_name", "cut_choice_file", "read_cut_choices"]

_FORMAT = 1


def choices_name(patch: str) -> str:
    """Return the file name of a patch's choices."""
    return f"{file_stem(patch)}.cuts.json"


def cut_choice_file(choices: Sequence[CutChoice]) -> bytes:
    """Return the choices as JSON; :func:`read_cut_choices` gives the same."""
    rows = [
        {
            "kind": choice.kind,
            "strain": choice.strain,
            "anneals": choice.anneals,
            "length_mm": choice.length_mm,
            "overlap_mm2": choice.overlap_mm2,
            "lines_mm": [line.tolist() for line in choice.lines_mm],
            "laid_mm": [piece.tolist() for piece in choice.laid_mm],
        }
        for choice in choices
    ]
    return json_bytes({"format": _FORMAT, "unit": "mm", "choices": rows})


def read_cut_choices(folder: Path, patch: str) -> tuple[CutChoice, ...]:
    """Return the choices of a patch.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    name = choices_name(patch)
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        return tuple(
            CutChoice(
                row["kind"],
                float(row["strain"]),
                None if row["anneals"] is None else int(row["anneals"]),
                float(row["length_mm"]),
                float(row["overlap_mm2"]),
                tuple(np.array(line) for line in row["lines_mm"]),
                tuple(np.array(piece) for piece in row["laid_mm"]),
            )
            for row in values["choices"]
        )
