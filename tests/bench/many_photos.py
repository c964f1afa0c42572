"""Memory and CPU of many large photos: reading them, their sheets, and the dense step.

    python -m tests.bench.many_photos [--files 200] [--dense 50,100,200]

``files``: the sample's photos, enlarged to 12 megapixels and every fiftieth to 48, each a little
different, are read and searched for marker sheets as a scan does. ``dense``: an egg photographed
from so many places, its photos enlarged to the working size of 2016 px, goes from known cameras
to the surface. Every line is a process of its own; peak memory is that process's.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

_SAMPLE = Path(__file__).parents[2] / "sample_scans" / "heron_warden" / "photos"
_LARGE_EVERY = 50
_LONGEST_PX = 2016


def make_files(folder: Path, count: int) -> None:
    """Write so many large JPEG photos."""
    samples = sorted(_SAMPLE.glob("*.jpg"))
    for k in range(count):
        sample = samples[k % len(samples)]
        with Image.open(sample) as picture:
            exif, colours = picture.getexif(), np.asarray(picture)
        larger = 4 if k % _LARGE_EVERY == _LARGE_EVERY - 1 else 2
        # A step to the side, so that no two files are the same picture.
        colours = np.roll(colours, 3 * (k // len(samples)), axis=1)
        large = cv2.resize(colours, None, fx=larger, fy=larger, interpolation=cv2.INTER_LINEAR)
        Image.fromarray(large).save(folder / f"photo_{k:03d}.jpg", quality=85, exif=exif)


def read_files(folder: Path) -> dict[str, Any]:
    """Read all photos of a folder, then look for sheets in each."""
    from fitkit.capture.photo import find_photos, read_photos
    from fitkit.capture.sheet_view import view_sheets

    start = time.process_time()
    photos, _ = read_photos(find_photos([folder]), longest_px=_LONGEST_PX)
    read = {"photos": len(photos), "reading_cpu_s": time.process_time() - start, **_peak("reading")}
    start = time.process_time()
    sheets = sum(len(view_sheets(photo, k)[0]) for k, photo in enumerate(photos))
    spent = time.process_time() - start
    return {**read, "sheets": sheets, "sheets_cpu_s": spent, **_peak("sheets")}


def dense(count: int) -> dict[str, Any]:
    """Reconstruct the egg from so many photos at working size."""
    from fitkit.capture.photo import Photo
    from fitkit.capture.reconstruct import reconstruct
    from fitkit.capture.scan import SolvedCameras
    from tests.truth.rigid_fit import signed_distance_mm, spread_points
    from tests.truth.textured_egg import VOLUME, egg_cameras, egg_mesh, render

    photos, cameras = [], []
    for camera in egg_cameras(count):
        grey = render(camera, seed=7)
        factor = _LONGEST_PX / grey.shape[0]
        large = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)
        lens = camera.lens
        enlarged = replace(
            lens,
            width_px=large.shape[1],
            height_px=large.shape[0],
            focal_px=factor * lens.focal_px,
            centre_x_px=factor * (lens.centre_x_px + 0.5) - 0.5,
            centre_y_px=factor * (lens.centre_y_px + 0.5) - 0.5,
        )
        cameras.append(replace(camera, lens=enlarged))
        photos.append(Photo(camera.photo, np.asarray(large), enlarged.focal_px, True, "egg"))
    before = time.process_time()
    scan = reconstruct(photos, SolvedCameras(tuple(cameras), (), 0.0, 0.0), VOLUME)
    points = spread_points(scan.surface, 20_000)
    points = points[points[:, 2] > VOLUME.bottom_mm + 5.0]
    off = signed_distance_mm(points, egg_mesh())
    return {
        "photos": count,
        "dense_cpu_s": time.process_time() - before,
        "rms_mm": float(np.sqrt((off**2).mean())),
        **_peak("dense"),
    }


def _peak(step: str) -> dict[str, float]:
    return {f"{step}_peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6}


def main() -> None:
    """Print a line for each run."""
    parser = argparse.ArgumentParser(prog="tests.bench.many_photos")
    parser.add_argument("--files", type=int, default=200)
    parser.add_argument("--dense", default="50,100,200")
    parser.add_argument("--step", nargs=2, metavar=("STEP", "WHAT"))
    told = parser.parse_args()
    steps: dict[str, Callable[[str], dict[str, Any]]] = {
        "files": lambda folder: read_files(Path(folder)),
        "dense": lambda count: dense(int(count)),
    }
    if told.step:
        print(json.dumps(steps[told.step[0]](told.step[1])))
        return
    if told.files:
        with tempfile.TemporaryDirectory() as folder:
            make_files(Path(folder), told.files)
            _report("files", folder)
    for count in filter(None, told.dense.split(",")):
        _report("dense", count)


def _report(step: str, what: str) -> None:
    command = [sys.executable, "-m", "tests.bench.many_photos", "--step", step, what]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    row = json.loads(done.stdout.strip().splitlines()[-1])
    print(", ".join(f"{k} {v:.2f}" if isinstance(v, float) else f"{k} {v}" for k, v in row.items()))


if __name__ == "__main__":
    main()
