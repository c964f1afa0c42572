"""What forms cost: each by itself, from one field, bridged; CPU seconds and ratios in one run.

``python -m tests.bench.forms [CELL_MM]`` on the sample's exact body (93 k triangles at 5 mm).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.patch.form import Form, FormGrower, grow_form
from tests.truth.mannequin import mannequin

ROOMS = ((6.0, 1.0), (6.0, 0.5), (10.0, 3.0), (12.0, 4.0))
"""Clearance and sheet of the sample's four forms, mm."""


def cpu_s(work: Callable[[], object]) -> float:
    """Return the CPU seconds that a piece of work takes."""
    started = time.process_time()
    work()
    return time.process_time() - started


def main() -> None:
    """Print the table."""
    cell_mm = float(sys.argv[1]) if len(sys.argv) > 1 else 4.0
    body = body_of_mesh(mannequin())
    grow_form(body, clearance_mm=5, cell_mm=16)  # compiles and loads what there is to load

    def alone() -> list[Form]:
        return [
            grow_form(body, clearance_mm=room, thickness_mm=sheet, cell_mm=cell_mm)
            for room, sheet in ROOMS
        ]

    def shared() -> list[Form]:
        grower = FormGrower(body, furthest_mm=14.0, cell_mm=cell_mm)
        return [grower.grow(room, thickness_mm=sheet) for room, sheet in ROOMS]

    def bridged() -> Form:
        return grow_form(body, clearance_mm=6, thickness_mm=1, bridge_mm=80, cell_mm=cell_mm)

    apart = cpu_s(alone)
    for words, seconds in (
        ("four forms, each by itself", apart),
        ("four forms, one field", cpu_s(shared)),
        ("one form bridged by 80 mm", cpu_s(bridged)),
    ):
        print(f"{words:30s} {seconds:7.1f} CPU s  {seconds / apart:5.2f}")


if __name__ == "__main__":
    main()
