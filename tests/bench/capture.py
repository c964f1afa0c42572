"""Benchmark of the scan, beside a plain chain of stock parts, in one run: prints a table.

    python -m tests.bench.capture [cases...]

Cases: ``all`` (the sample's 33 photos), ``half`` (every second), ``head`` (a head on a table, 20
photos of 1008 px); by default all three. Each is scored against the exact mesh by rigid alignment
only. CPU seconds count both cores; peak memory is that of the process of that case alone, so each
runs in a process of its own. Reading the photos counts, rendering does not.

The plain chain is what one would put together from the parts of general-purpose libraries without
the project's own: tags found and refined by OpenCV (contour refinement off, sub-pixel corners on),
one bundle adjustment over them with the project's own adjustment (so that only the corners
differ), semi-global matching of the same pairs, agreement of three maps, screened Poisson.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.photo import Photo
from fitkit.capture.scan import SolvedCameras
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh

CASES = ("all", "half", "head")
CHAINS = ("fitkit", "plain")
_SAMPLE = Path(__file__).parents[2] / "sample_scans" / "heron_warden" / "photos"


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """Photos and truth of one case."""

    photos: tuple[Photo, ...]
    cameras: tuple[Camera, ...]
    mesh: TriangleMesh
    girths: tuple[tuple[str, Floats, Floats], ...]
    bottom_mm: float | None
    top_mm: float


def subject(case: str) -> Subject:
    """Return a case, its photos read or rendered."""
    if case == "head":
        from tests.truth.head_on_table import head_photos

        scene = head_photos(20, height_px=1008)
        up = np.array([0.0, 0.0, 1.0])
        girths = tuple((f"at {z:g}", np.array([0.0, 0.0, z]), up) for z in (50.0, 150.0, 200.0))
        return Subject(scene.photos, scene.cameras, scene.mesh, girths, None, 244.0)
    import tomllib

    from fitkit.capture.photo import read_photos
    from tests.truth.heron_warden import heron_warden_truth

    mesh, cameras, _ = heron_warden_truth()
    paths = sorted(_SAMPLE.glob("*.jpg"))
    chosen = paths if case == "all" else paths[::2]
    photos, _ = read_photos(chosen, longest_px=2016)
    tapes = tomllib.loads((_SAMPLE.parent / "measured.toml").read_text())["tape"]
    girths = tuple(
        (tape["name"], np.array(tape["through_mm"]), np.array(tape["across"])) for tape in tapes
    )
    return Subject(photos, cameras, mesh, girths, 790.0, 1480.0)


def scanned(chain: str, told: Subject) -> tuple[SolvedCameras, TriangleMesh]:
    """Return cameras and surface of one chain."""
    from fitkit.capture.capture_volume import default_capture_volume
    from fitkit.capture.solve_cameras import solve_cameras

    if chain == "plain":
        from tests.bench.plain_chain import plain_cameras, plain_surface

        solved = plain_cameras(told.photos)
        volume = default_capture_volume(solved, bottom_mm=told.bottom_mm)
        return solved, plain_surface(told.photos, solved, volume)
    from fitkit.capture.reconstruct import reconstruct

    solved = solve_cameras(told.photos)
    volume = default_capture_volume(solved, bottom_mm=told.bottom_mm)
    return solved, reconstruct(told.photos, replace(solved, findings=()), volume).surface


def scores(told: Subject, solved: SolvedCameras, surface: TriangleMesh) -> dict[str, Any]:
    """Return all figures of a surface and its cameras against the truth."""
    from fitkit.body.tape_measure import girth_at_mm
    from tests.truth.rigid_fit import fit_rigidly, signed_distance_mm, spread_points

    points = spread_points(surface, 40_000)
    pose = fit_rigidly(points, told.mesh)
    points = pose.apply(points)
    low = told.bottom_mm if told.bottom_mm is not None else float(points[:, 2].min())
    above = points[:, 2] > low + 5.0
    off = np.abs(signed_distance_mm(points[above], told.mesh))
    seen = spread_points(told.mesh, 40_000)
    seen = seen[(seen[:, 2] > low + 5.0) & (seen[:, 2] < told.top_mm)]
    missing = np.abs(signed_distance_mm(pose.inverse().apply(seen), surface))
    placed = surface.with_vertices(pose.apply(surface.vertices))
    girths = {}
    for name, through, across in told.girths:
        try:
            got = girth_at_mm(placed, through, across)
        except Exception as error:  # a broken surface is a result, not a fault of the bench
            girths[name] = f"none ({type(error).__name__})"
            continue
        girths[name] = round(got - girth_at_mm(told.mesh, through, across), 2)
    return {
        "photos": len(solved.cameras),
        "median": float(np.median(off)),
        "rms": float(np.sqrt((off**2).mean())),
        "p95": float(np.percentile(off, 95)),
        "within_2_mm": float(np.mean(missing < 2.0)),
        "scale_percent": scale_percent(solved, told.cameras),
        "girths": girths,
    }


def scale_percent(solved: SolvedCameras, truth: tuple[Camera, ...]) -> float:
    """Return by how many percent the solved walk, about its mean, is larger than the true one."""
    true = {camera.photo: camera.centre_mm() for camera in truth}
    got = np.array([camera.centre_mm() for camera in solved.cameras])
    want = np.array([true[camera.photo] for camera in solved.cameras])
    spread = [np.linalg.norm(walk - walk.mean(axis=0)) for walk in (got, want)]
    return 100.0 * float(spread[0] / spread[1] - 1.0)


def run_one(case: str, chain: str) -> dict[str, Any]:
    """Run one case in this process."""
    import cv2

    cv2.setNumThreads(2)
    if case == "head":
        told = subject(case)
        start = time.process_time()
    else:
        start = time.process_time()
        told = subject(case)
    solved, surface = scanned(chain, told)
    cpu_s = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return {**scores(told, solved, surface), "cpu_s": cpu_s, "peak_gb": peak}


def main() -> None:
    """Run the cases, each in a process of its own, and print the table."""
    words = sys.argv[1:]
    if len(words) == 3 and words[0] == "--one":
        print(json.dumps(run_one(words[1], words[2])))
        return
    wrong = set(words) - set(CASES)
    if wrong:
        sys.exit(f"There is no case {', '.join(sorted(wrong))}; choose from {', '.join(CASES)}.")
    print(
        "| case | chain | photos | median / RMS / p95 mm | within 2 mm | scale % | girths mm "
        "| CPU s | GB |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    )
    for case in words or CASES:
        for chain in CHAINS:
            command = [sys.executable, "-m", "tests.bench.capture", "--one", case, chain]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode != 0:
                last = (done.stderr.strip().splitlines() or ["no words"])[-1]
                print(f"| {case} | {chain} | failed: {last} | | | | | | |", flush=True)
                continue
            row = json.loads(done.stdout.strip().splitlines()[-1])
            girths = ", ".join(
                f"{name} {off:+.1f}" if isinstance(off, float) else f"{name} {off}"
                for name, off in row["girths"].items()
            )
            print(
                f"| {case} | {chain} | {row['photos']} | {row['median']:.2f} / {row['rms']:.2f} / "
                f"{row['p95']:.2f} | {100 * row['within_2_mm']:.1f} % | "
                f"{row['scale_percent']:+.3f} | {girths} | {row['cpu_s']:.0f} | "
                f"{row['peak_gb']:.1f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
