"""How far a swaying body's girths are off with the cameras on the floor and on the body.

``python -m tests.bench.sway [FOLDER] [--still]`` renders the photos into FOLDER once (about
five minutes), then prints both. The truth is laid on by a rigid motion only.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from fitkit.body.tape_measure import girth_at_mm
from fitkit.capture.capture_volume import default_capture_volume
from fitkit.capture.photo import Photo, read_photos
from fitkit.capture.reconstruct import reconstruct
from fitkit.capture.scan import Scan
from fitkit.capture.solve_cameras import solve_cameras
from tests.truth.camera_walk import PHONE_35MM, camera_walk, phone_lens
from tests.truth.heron_warden import PHOTOS, heron_warden_scene
from tests.truth.mannequin import GIRTHS, mannequin, mannequin_girths_mm, stand_parts
from tests.truth.rigid_fit import fit_rigidly, signed_distance_mm, spread_points
from tests.truth.studio import Scene, photo_jpeg
from tests.truth.swaying import leanings, swaying_photo

_BOTTOM_MM = 785.0


def render(folder: Path) -> None:
    """Render what is missing of the photos of a body leaning by 6 mm at 1450 mm."""
    folder.mkdir(parents=True, exist_ok=True)
    cameras = camera_walk(lens=phone_lens(756, 1008), name="sway_{:02d}.jpg")
    moves = leanings(len(cameras))
    body = 1 + len(stand_parts())
    for k, (camera, move) in enumerate(zip(cameras, moves, strict=True)):
        if (folder / camera.photo).exists():
            continue
        whole = heron_warden_scene()
        room = Scene(whole.parts[body:], whole.sheets)
        rgb = swaying_photo(whole, room, camera, move, body_parts=range(body), seed=k + 1)
        (folder / camera.photo).write_bytes(photo_jpeg(rgb, focal_35mm=PHONE_35MM))


def judged(scan: Scan) -> dict[str, float]:
    """Return the errors in mm of surface and girths."""
    truth = mannequin()
    points = spread_points(scan.surface, 40_000)
    pose = fit_rigidly(points, truth)
    points = pose.apply(points)
    off = np.abs(signed_distance_mm(points[points[:, 2] > _BOTTOM_MM + 10.0], truth))
    placed = scan.surface.with_vertices(pose.apply(scan.surface.vertices))
    result = {
        "median": float(np.median(off)),
        "RMS": float(np.sqrt((off**2).mean())),
        "p95": float(np.percentile(off, 95.0)),
    }
    true = mannequin_girths_mm()
    for name, (point, across) in GIRTHS.items():
        result[name] = girth_at_mm(placed, point, across) - true[name]
    return result


def compare(photos: tuple[Photo, ...]) -> None:
    """Print the errors with cameras on the floor and on the body side by side."""
    solved = solve_cameras(photos)
    volume = default_capture_volume(solved, bottom_mm=_BOTTOM_MM)
    columns = []
    for follow in (False, True):
        started = time.process_time()
        scan = reconstruct(photos, solved, volume, follow_body=follow)
        seconds = time.process_time() - started
        columns.append({**judged(scan), "CPU s": seconds})
        for finding in scan.findings:
            print(f"{finding.severity}: {finding.message}")
    print(f"{'mm':18s}{'floor':>9s}{'body':>9s}")
    for name in columns[0]:
        print(f"{name:18s}{columns[0][name]:9.2f}{columns[1][name]:9.2f}")


def main() -> None:
    """Render, scan twice, print."""
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    if "--still" in sys.argv:
        compare(read_photos(sorted(PHOTOS.glob("*.jpg")))[0])
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(words[0]) if words else Path(temporary)
        render(folder)
        compare(read_photos(sorted(folder.glob("*.jpg")))[0])


if __name__ == "__main__":
    main()
