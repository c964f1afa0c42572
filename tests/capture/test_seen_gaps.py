"""Two legs of a trestle with a web between them that only the start surface has."""

from __future__ import annotations

from itertools import count

import numpy as np
import pytest
from scipy.spatial import cKDTree

from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.seen_gaps import open_gaps, spanned_areas
from fitkit.capture.signed_grid import SignedGrid
from fitkit.geometry.arrays import Bools, Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.capture.plain_ball import ball_cameras
from tests.capture.trestle import (
    BEAM_MM,
    CELL_MM,
    GAP,
    LOW,
    POST_MM,
    in_spot,
    known_points,
    trestle,
    trestle_pictures,
)


def _to_cloud_mm(surface: TriangleMesh) -> Floats:
    return np.asarray(cKDTree(known_points()).query(surface.vertices)[0])


def _spanned(surface: TriangleMesh) -> tuple[list[Bools], Bools]:
    """Return the areas that span a hole of the cloud and the faces that lie on it."""
    to_cloud = _to_cloud_mm(surface)
    areas = spanned_areas(surface, to_cloud, bottom_mm=-70.0, scale=1.0, far_mm=10.0)
    return areas, (to_cloud < 3.0)[surface.faces].all(axis=1)


def _opened(*, web: bool) -> SignedGrid:
    grid = trestle(web=True)
    surface = mesh_of_grid(grid)
    areas, held = _spanned(surface)
    told: list[float] = []
    found = open_gaps(
        grid, surface, areas, held, trestle_pictures(web), ball_cameras(), say=told.append
    )
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    return found


def _at(grid: SignedGrid, place_mm: Floats) -> float:
    return float(grid.values_mm[tuple(np.rint((place_mm - LOW) / CELL_MM).astype(int))])


def test_web_that_photos_look_through_is_opened_and_the_posts_stay() -> None:
    grid = _opened(web=False)
    assert _at(grid, GAP) < -3.0
    truth = trestle(web=False).values_mm
    assert (grid.values_mm[truth > 6.0] > 0.0).all()
    height = LOW[2] + CELL_MM * np.arange(37)
    open_part = (height > -55.0) & (height < BEAM_MM)
    left = (grid.values_mm > 0.0) & (truth < -6.0)
    assert left[:, :, open_part].sum() < 0.1 * (trestle(web=True).values_mm - truth > 6.0).sum()


def test_web_that_the_photos_show_stays() -> None:
    assert np.array_equal(_opened(web=True).values_mm > 0.0, trestle(web=True).values_mm > 0.0)


def test_spot_whose_far_side_is_known_stays_though_it_looks_like_the_room() -> None:
    grid = trestle(web=True)
    surface = mesh_of_grid(grid)
    spot = in_spot(surface.vertices)[surface.faces].all(axis=1)
    _, held = _spanned(surface)
    pictures = trestle_pictures(True, stain=True)
    dug, kept = (
        open_gaps(grid, surface, [spot], told, pictures, ball_cameras(), say=lambda _fraction: None)
        for told in (np.zeros_like(held), held & ~spot)
    )
    assert (dug.values_mm < grid.values_mm - 5.0).any()
    assert np.array_equal(kept.values_mm > 0.0, grid.values_mm > 0.0)


def test_each_area_is_judged_in_its_own_part_of_the_photo_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A spot in the middle of a web looks like the room, the web round it like the body."""
    grid = trestle(web=True)
    surface = mesh_of_grid(grid)
    (web, *_), held = _spanned(surface)
    middle = surface.corners.mean(axis=1)
    spot = web & (np.linalg.norm(middle - GAP, axis=1) < 25.0)
    asked = count()

    def told(_colour: Bytes, *, body: Bools, **_room: Bools) -> Bools:
        return np.full(body.shape, next(asked) % 2 == 1)

    monkeypatch.setattr("fitkit.capture.seen_gaps.silhouette", told)
    found = open_gaps(
        grid,
        surface,
        [spot, web & ~spot],
        held,
        trestle_pictures(True),
        ball_cameras(),
        say=lambda _fraction: None,
    )
    dug = (grid.values_mm > 0.0) & (found.values_mm < 0.0)
    places = LOW + CELL_MM * np.argwhere(dug)
    assert len(places) > 10
    assert np.linalg.norm((places - GAP)[:, 1:], axis=1).max() < 45.0


def test_one_photo_alone_opens_nothing() -> None:
    grid = trestle(web=True)
    surface = mesh_of_grid(grid)
    areas, held = _spanned(surface)
    looks_through = 4
    pictures = [trestle_pictures(False)[looks_through]]
    cameras = [ball_cameras()[looks_through]]
    found = open_gaps(grid, surface, areas, held, pictures, cameras, say=lambda _fraction: None)
    assert found is grid


def test_spanned_areas_are_large_far_from_the_cloud_and_above_the_bottom() -> None:
    surface = mesh_of_grid(trestle(web=True))
    distance = _to_cloud_mm(surface)
    areas = spanned_areas(surface, distance, bottom_mm=-70.0, scale=1.0, far_mm=10.0)
    assert len(areas) == 2  # the web's front and its back
    for area in areas:
        corners = surface.corners[area].reshape(-1, 3)
        assert np.abs(corners[:, 0]).max() < POST_MM
        assert corners[:, 2].min() > -70.0
    assert spanned_areas(surface, distance, bottom_mm=80.0, scale=1.0, far_mm=10.0) == []
    assert spanned_areas(surface, distance, bottom_mm=-70.0, scale=12.0, far_mm=10.0) == []
