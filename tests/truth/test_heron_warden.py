from __future__ import annotations

import tomllib

import cv2
import numpy as np
import pytest

from tests.truth.heron_warden import PHOTOS, heron_warden_photo, heron_warden_truth
from tests.truth.mannequin import GIRTHS, mannequin_girths_mm


def test_tape_list_of_the_sample_is_that_of_the_exact_mesh() -> None:
    with (PHOTOS.parent / "measured.toml").open("rb") as stream:
        tapes = {tape["name"]: tape for tape in tomllib.load(stream)["tape"]}
    girths = mannequin_girths_mm()
    assert set(tapes) == set(girths)
    for name, tape in tapes.items():
        assert tape["length_mm"] == pytest.approx(girths[name], abs=0.02)
        assert tape["through_mm"] == pytest.approx(GIRTHS[name][0].tolist(), abs=0.01)


def test_every_camera_has_its_photo_and_the_set_stays_small() -> None:
    _, cameras, sheets = heron_warden_truth()
    files = sorted(PHOTOS.glob("*.jpg"))
    assert [f.name for f in files] == [c.photo for c in cameras]
    sizes = [f.stat().st_size for f in files]
    assert max(sizes) < 1_000_000
    assert sum(sizes) < 22_000_000
    assert len({s.sheet.tag_id for s in sheets}) == 8


def test_bow_ties_in_the_kept_photos_lie_where_the_truth_puts_them() -> None:
    """The kept files, the lens and the poses belong together: within 0.15 px in the median.

    Detector: OpenCV's cornerSubPix; a bow-tie that the stand hides in part is far off, hence
    the median and a count.
    """
    _, cameras, sheets = heron_warden_truth()
    off = []
    for camera in cameras[::8]:
        grey = cv2.imread(str(PHOTOS / camera.photo), cv2.IMREAD_GRAYSCALE)
        assert grey is not None
        for placed in sheets:
            spots = camera.project(placed.world_from_sheet.apply(placed.sheet.saddles_mm()))
            deep = camera.camera_from_world.apply(
                placed.world_from_sheet.apply(placed.sheet.saddles_mm())
            )[:, 2]
            inside = ((spots > 20) & (spots < [1491, 1995])).all(axis=1) & (deep > 0)
            if not inside.any():
                continue
            spots = spots[inside]
            start = np.round(spots).astype(np.float32).reshape(-1, 1, 2)
            criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
            found = cv2.cornerSubPix(grey, start, (3, 3), (-1, -1), criteria).reshape(-1, 2)
            off.extend(np.linalg.norm(found - spots, axis=1))
    assert len(off) > 50
    assert np.median(off) < 0.15


@pytest.mark.slow
def test_the_recipe_gives_the_kept_photo_again() -> None:
    """Two grey levels: other processors and JPEG builds round differently."""
    _, cameras, _ = heron_warden_truth()
    kept = cv2.imread(str(PHOTOS / cameras[6].photo))
    again = cv2.imdecode(np.frombuffer(heron_warden_photo(7), np.uint8), cv2.IMREAD_COLOR)
    assert kept is not None
    assert again is not None
    assert np.abs(kept.astype(int) - again).mean() < 2.0
