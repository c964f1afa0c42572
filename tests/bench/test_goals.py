"""The goals' own arithmetic: what counts as met, and cameras held against cameras."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.bench.colmap_poses import rms_after_similarity
from tests.bench.goal_scenes import SCORING_SEEDS, TUNING_SEEDS, Setting, setting_truth
from tests.bench.goals import CASES, Goal, _worst
from tests.truth.camera_walk import camera_walk


def test_a_figure_counts_by_its_size_and_a_missing_one_never() -> None:
    assert Goal("girth", 1.5).met({"girth": -1.4})
    assert not Goal("girth", 1.5).met({"girth": -1.6})
    assert not Goal("girth", 1.5).met({"girth": None})
    assert Goal("within_2_mm", 0.98, least=True).met({"within_2_mm": 0.99})
    assert not Goal("within_2_mm", 0.98, least=True).met({"within_2_mm": 0.97})


def test_a_girth_that_could_not_be_taken_spoils_the_worst() -> None:
    assert _worst([0.4, -1.2, 0.9]) == -1.2
    assert _worst([0.4, "none (MeshError)"]) is None
    assert _worst([0.4, None]) is None


def test_scoring_seeds_show_other_bodies_and_walks_than_tuning_seeds() -> None:
    assert not set(SCORING_SEEDS) & set(TUNING_SEEDS)
    settings = [Setting(seed) for seed in SCORING_SEEDS]
    assert len({setting.body for setting in settings}) == 3
    assert len({setting.room for setting in settings}) == 2
    for case in CASES.values():
        if case.setting is not None:
            _, cameras = setting_truth(replace(case.setting, seed=SCORING_SEEDS[0]))
            assert len(cameras) == 3 * case.setting.photos_per_ring


def test_a_walk_turned_moved_and_scaled_is_the_same_walk_after_similarity() -> None:
    cameras = camera_walk(rings=(0,))
    turn = Rotation.from_euler("xyz", [0.4, -1.1, 2.0]).as_matrix()
    found = {one.photo: 0.03 * (turn @ one.centre_mm()) + [5.0, 1.0, -2.0] for one in cameras}
    assert rms_after_similarity(found, cameras) < 1e-9
    first = cameras[0].photo
    found[first] = found[first] + 0.03 * np.array([0.0, 0.0, 11.0])
    # One of eleven, a centimetre off; the others bend towards it a little.
    off = 11.0 / np.sqrt(len(cameras))
    assert rms_after_similarity(found, cameras) == pytest.approx(off, rel=0.2)
