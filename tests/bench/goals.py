"""The goals of the scan, case by case, on bodies, rooms and seeds nothing was tuned on.

    python -m tests.bench.goals [cases...] [--seeds 11,12,13] [--height 2016] [--folder FOLDER]
        [--alone]

Renders each case's photos into FOLDER once (at 2016 px some five minutes a case and seed), scans
them, and prints goal, measured and met, beside a plain chain of stock parts and, where
pycolmap is installed, its camera poses. ``--height 1008`` is a quick look: pixels of twice
the size, so not what the goals mean. ``--alone`` leaves the chains beside out. Every chain
reads the photos' files in a process of its own, whose CPU seconds (both cores) and peak memory
are told (the head is rendered in that process, so its peak counts that too; its CPU does not).
Sway is of the body as one piece, arms included. Truth is laid on by a rigid motion only;
girths are by the exact mesh.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from tests.bench.goal_scenes import SCORING_SEEDS, Setting

_TRUNK = ("chest", "waist", "hip")


@dataclass(frozen=True, slots=True)
class Goal:
    """A figure and the most (or, ``least``, the least) it may be."""

    figure: str
    limit: float
    least: bool = False

    def met(self, row: dict[str, Any]) -> bool:
        """Whether a measured row keeps to it."""
        value = row.get(self.figure)
        if value is None:
            return False
        return bool(value >= self.limit if self.least else abs(value) <= self.limit)


@dataclass(frozen=True, slots=True)
class Case:
    """One row of the table; one about the scale alone goes no further than the cameras."""

    setting: Setting | None
    goals: tuple[Goal, ...]
    measured_print: bool = True
    poses: bool = False
    surface: bool = True


_ISO = (Goal("girth_large", 9.0), Goal("girth_small", 4.0))
_COST = (Goal("cpu_s", 150.0), Goal("peak_gb", 2.5))
_BASE = Setting(seed=0)
CASES = {
    "busy": Case(
        _BASE,
        (
            Goal("median", 0.2),
            Goal("rms", 0.6),
            Goal("p95", 1.0),
            Goal("within_2_mm", 0.98, least=True),
            Goal("girth", 1.5),
            Goal("scale_percent", 0.1),
            *_COST,
        ),
        poses=True,
    ),
    "half": Case(replace(_BASE, photos_per_ring=6), (Goal("rms", 0.9), Goal("girth", 2.0))),
    "mid": Case(replace(_BASE, covering="mid"), (Goal("rms", 0.9),)),
    "low": Case(replace(_BASE, covering="low"), (Goal("rms", 1.5),)),
    "crosses": Case(replace(_BASE, covering="crosses"), (Goal("rms", 2.0), Goal("girth", 4.0))),
    "glossy": Case(replace(_BASE, covering="glossy", cluttered=True), (Goal("rms", 3.0), *_ISO)),
    "sway": Case(replace(_BASE, sway_mm=6.0), (*_ISO, Goal("girth_trunk", 2.0))),
    "printed": Case(replace(_BASE, printed=0.985), (Goal("scale_percent", 0.15),), surface=False),
    "unmeasured": Case(
        replace(_BASE, printed=0.985),
        (Goal("risk_told", 1.0, least=True),),
        measured_print=False,
        surface=False,
    ),
    "head": Case(None, (Goal("rms", 0.5),)),
}


def run_chain(case: str, chain: str, setting: Setting, folder: Path) -> dict[str, Any]:
    """Scan one case by one chain in this process and return its figures."""
    if CASES[case].setting is None:
        return _head(chain, setting)
    from tests.bench.goal_scenes import kept_mesh, setting_truth

    if chain == "pycolmap":
        return _poses(setting, folder)
    from fitkit.capture.photo import read_photos

    body, cameras = setting_truth(setting)
    mesh = kept_mesh(body.name, folder)
    start = time.process_time()
    photos, _ = read_photos(sorted(folder.glob("*.jpg")), longest_px=2016)
    from tests.bench.capture import Subject

    girths = tuple((one.name, one.through_mm, one.across) for one in body.girths)
    told = Subject(photos, cameras, mesh, girths, body.bottom_mm, body.top_mm)
    row = _scanned(chain, told, _printed_mm(case, setting), start, surface=CASES[case].surface)
    if not CASES[case].surface:
        return row
    off = {one.name: row["girths"].get(one.name) for one in body.girths}
    of_kind = {
        "girth": list(off.values()),
        "girth_large": [off[one.name] for one in body.girths if one.large],
        "girth_small": [off[one.name] for one in body.girths if not one.large],
        "girth_trunk": [off[name] for name in _TRUNK],
    }
    return {**row, **{kind: _worst(values) for kind, values in of_kind.items()}}


def _scanned(
    chain: str,
    told: Any,
    printed_mm: tuple[float, float] | None,
    start: float,
    *,
    surface: bool = True,
) -> dict[str, Any]:
    import cv2

    from fitkit.capture.capture_volume import default_capture_volume
    from fitkit.capture.reconstruct import reconstruct
    from fitkit.capture.solve_cameras import solve_cameras
    from tests.bench.capture import scale_percent, scores
    from tests.bench.colmap_poses import rms_after_similarity
    from tests.bench.plain_chain import plain_cameras, plain_surface

    cv2.setNumThreads(2)
    if chain == "plain":
        solved = plain_cameras(told.photos)
    else:
        solved = solve_cameras(told.photos, printed_mm=printed_mm)
    codes = {finding.code for finding in solved.findings}
    found = None
    if surface:
        volume = default_capture_volume(solved, bottom_mm=told.bottom_mm)
        if chain == "plain":
            found = plain_surface(told.photos, solved, volume)
        else:
            scan = reconstruct(told.photos, solved, volume)
            found, solved = scan.surface, scan.solved
            codes |= {finding.code for finding in scan.findings}
    spent = {
        "cpu_s": time.process_time() - start,
        "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6,
    }
    centres = {camera.photo: camera.centre_mm() for camera in solved.cameras}
    measured = {"photos": len(solved.cameras)} if found is None else scores(told, solved, found)
    return {
        "scale_percent": scale_percent(solved, told.cameras),
        **measured,
        **spent,
        "camera_rms": rms_after_similarity(centres, told.cameras),
        "risk_told": float("print-not-measured" in codes),
        "findings": sorted(codes),
    }


def _head(chain: str, setting: Setting) -> dict[str, Any]:
    import numpy as np

    from tests.bench.capture import Subject
    from tests.truth.head_on_table import head_photos

    scene = head_photos(20, height_px=setting.height_px, seed=setting.seed)
    up = np.array([0.0, 0.0, 1.0])
    girths = tuple((f"at {z:g}", np.array([0.0, 0.0, z]), up) for z in (50.0, 150.0, 200.0))
    told = Subject(scene.photos, scene.cameras, scene.mesh, girths, None, 244.0)
    row = _scanned(chain, told, None, time.process_time())
    return {**row, "girth": _worst(list(row["girths"].values()))}


def _poses(setting: Setting, folder: Path) -> dict[str, Any]:
    from tests.bench.colmap_poses import colmap_centres, rms_after_similarity
    from tests.bench.goal_scenes import setting_truth

    start = time.process_time()
    centres = colmap_centres(folder)
    cpu_s = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    rms = rms_after_similarity(centres, setting_truth(setting)[1]) if len(centres) > 2 else None
    return {"photos": len(centres), "camera_rms": rms, "cpu_s": cpu_s, "peak_gb": peak}


def _printed_mm(case: str, setting: Setting) -> tuple[float, float] | None:
    """Return the check lines as a steel rule reads them, to 0.2 mm."""
    if not CASES[case].measured_print:
        return None
    from fitkit.capture.marker_sheet import marker_sheet

    across, up = (round(setting.printed * mm * 5.0) / 5.0 for mm in marker_sheet("A4", 1).check_mm)
    return across, up


def _worst(values: Sequence[Any]) -> float | None:
    """Return the value farthest from 0; None where one could not be taken."""
    if not all(isinstance(value, float) for value in values):
        return None
    return float(max(values, key=abs))


def main() -> None:
    """Render, scan, print the table."""
    parser = argparse.ArgumentParser(prog="tests.bench.goals")
    parser.add_argument("cases", nargs="*", metavar="case", help=f"of {', '.join(CASES)}")
    parser.add_argument("--seeds", default=",".join(map(str, SCORING_SEEDS)))
    parser.add_argument("--height", type=int, default=2016)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--alone", action="store_true")
    parser.add_argument("--step", nargs=4, metavar=("STEP", "CASE", "SEED", "FOLDER"))
    told = parser.parse_args()
    if told.step:
        _step(*told.step, height_px=told.height)
        return
    wrong = set(told.cases) - set(CASES)
    if wrong:
        parser.error(f"no case {', '.join(sorted(wrong))}; choose from {', '.join(CASES)}")
    with tempfile.TemporaryDirectory() as temporary:
        root = told.folder or Path(temporary)
        print(_HEADING, flush=True)
        for case in told.cases or CASES:
            for seed in map(int, told.seeds.split(",")):
                _compare(case, seed, told.height, root, alone=told.alone)


_HEADING = (
    "| case | seed | chain | photos | median / RMS / p95 mm | within 2 mm | scale % | girths mm "
    "| cameras mm | CPU s | GB | goals not met |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
)


def _compare(case: str, seed: int, height_px: int, root: Path, *, alone: bool) -> None:
    """Render one case and print a line for each chain."""
    chains = ["fitkit"] if alone else ["fitkit", "plain"]
    if CASES[case].poses and not alone and find_spec("pycolmap"):
        chains.append("pycolmap")
    base = CASES[case].setting
    folder = root
    if base is not None:
        setting = replace(base, seed=seed, height_px=height_px)
        kind = f"{setting.covering}_{3 * setting.photos_per_ring}_sway{setting.sway_mm:g}"
        folder = root / f"{kind}_{setting.room[:4]}_print{setting.printed:g}_{height_px}_{seed}"
        _in_own_process("render", case, seed, folder, height_px)
    for chain in chains:
        row = _in_own_process(chain, case, seed, folder, height_px)
        print(_line(case, seed, chain, row), flush=True)


def _in_own_process(step: str, case: str, seed: int, folder: Path, height_px: int) -> Any:
    command = [sys.executable, "-m", "tests.bench.goals", "--height", str(height_px)]
    command += ["--step", step, case, str(seed), str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        return {"failed": (done.stderr.strip().splitlines() or ["no words"])[-1]}
    return json.loads(done.stdout.strip().splitlines()[-1])


def _step(step: str, case: str, seed: str, folder: str, *, height_px: int) -> None:
    """Do what a process of its own was started for, and print its figures."""
    setting = replace(CASES[case].setting or _BASE, seed=int(seed), height_px=height_px)
    if step == "render":
        from tests.bench.goal_scenes import render_setting

        render_setting(setting, Path(folder))
        print("{}")
        return
    print(json.dumps(run_chain(case, step, setting, Path(folder))))


def _line(case: str, seed: int, chain: str, row: dict[str, Any]) -> str:
    """Return a row of the table."""
    cells = [case, str(seed), chain]
    if "failed" in row:
        return f"| {' | '.join(cells)} | failed: {row['failed']} | | | | | | | | all |"
    scale = f"{row['scale_percent']:+.3f}" if "scale_percent" in row else ""
    surface = ["", "", scale, ""]
    if "rms" in row:
        girths = ", ".join(
            f"{name} {off:+.1f}" if isinstance(off, float) else f"{name} {off}"
            for name, off in row["girths"].items()
        )
        surface = [
            f"{row['median']:.2f} / {row['rms']:.2f} / {row['p95']:.2f}",
            f"{100 * row['within_2_mm']:.1f} %",
            scale,
            girths,
        ]
    missed = ", ".join(_told(goal, row) for goal in CASES[case].goals if not goal.met(row))
    rms = row["camera_rms"]
    cells += [str(row["photos"]), *surface, "none" if rms is None else f"{rms:.2f}"]
    cells += [f"{row['cpu_s']:.0f}", f"{row['peak_gb']:.1f}"]
    told = {"fitkit": missed or "all met", "plain": missed}
    cells.append(told.get(chain, ""))
    return f"| {' | '.join(cells)} |"


def _told(goal: Goal, row: dict[str, Any]) -> str:
    value = row.get(goal.figure)
    words = goal.figure.replace("_", " ")
    measured = "none" if value is None else f"{value:.3g}"
    return f"{words} {measured} ({'at least' if goal.least else 'at most'} {goal.limit:g})"


if __name__ == "__main__":
    main()
