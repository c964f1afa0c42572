"""Where the motion offers a trim: its lines on the blanks, for the templates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.geometry.arrays import Floats
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.motion_files import TrimOffer
    from fitkit.template.part import NamedLine

__all__ = ["offered_trims", "trims_on"]

# Steps of a line that grow by more than this between plate and blank go over a cut.
_PARTED, _PARTED_MM = 1.5, 1.0
_SIDES = ("left", "right")
# How many movements are told by name.
_TOLD = 3


def offered_trims(job: Job, digests: FileDigests) -> dict[str, TrimOffer]:
    """Return the trims of the last sweep by their patch; none of a stale one.

    Raises
    ------
    JobError
        When the motion's file is damaged.
    """
    from fitkit.job.motion_files import read_trims

    if job.state("motion", digests).state != "fresh":
        return {}
    return {trim.patch: trim for trim in read_trims(job.result_folder("motion"))}


def trims_on(flat: FlatPatch, offered: dict[str, TrimOffer]) -> tuple[tuple[NamedLine, ...], str]:
    """Return a blank's trim lines, and in words what they are for; nothing where none is offered.

    A line that crosses a relief cut is parted there.
    """
    from fitkit.template.part import NamedLine

    trim = offered.get(flat.design.name)
    if trim is None:
        return (), ""
    name = f"trim line, {trim.width_mm:.0f} mm"
    lines = [NamedLine(name, run) for line in trim.lines_mm for run in _laid(flat, line)]
    return tuple(lines), f"trim line: cut there for {_movements(trim.frees)}"


def _movements(frees: Sequence[str]) -> str:
    """Return what a trim frees in a few words, what is alike on both sides told once."""
    sides = [name.partition(" ") for name in frees]
    told = {
        rest if side in _SIDES and all(f"{one} {rest}" in frees for one in _SIDES) else name
        for name, (side, _, rest) in zip(frees, sides, strict=True)
    }
    names = sorted(told, key=lambda one: min(frees.index(name) for name in frees if one in name))
    more = len(names) - _TOLD
    words = ", ".join(names[:_TOLD])
    return f"{words} and {more} more movement{'s' * (more > 1)}" if more > 0 else words


def _laid(flat: FlatPatch, line_mm: Floats) -> list[Floats]:
    """Return a line on the form as it lies on the blank, in as many runs as cuts make of it."""
    from fitkit.flatten.form_to_flat import on_flat
    from fitkit.geometry.nearest import nearest_on_mesh

    on_form, faces, _ = nearest_on_mesh(flat.form, line_mm)
    laid = on_flat(flat.form, flat.flat_mm, on_form, faces)
    formed, steps = (np.linalg.norm(np.diff(way, axis=0), axis=1) for way in (line_mm, laid))
    parted = np.flatnonzero(steps > _PARTED * formed + _PARTED_MM) + 1
    return [run for run in np.split(laid, parted) if len(run) > 1]
