"""The strain picture says where to stretch and where to shrink, and by how much."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fitkit.export import strain_picture
from fitkit.export.strain_picture import png_of_strain
from fitkit.flatten.flat_patch import FlatEdge, FlatPatch
from fitkit.flatten.stretch import area_strain, governing_strain, strain_contour_levels
from fitkit.geometry.arrays import Bytes
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import PatchDesign, PointAnchor
from tests.truth.solids import border_rounds, spherical_cap

HALF_ANGLE = 0.7


@pytest.fixture(scope="module")
def cap() -> FlatPatch:
    """Return a sphere's cap laid flat with its radial lengths kept.

    Radial stretch is then 1 and round the rim sin(a)/a everywhere (closed form).
    """
    form = spherical_cap(100.0, HALF_ANGLE, 5.0)
    polar = np.arccos(np.clip(form.vertices[:, 2] / 100.0, -1.0, 1.0))
    ring = np.linalg.norm(form.vertices[:, :2], axis=1)
    flat = form.vertices[:, :2] * (100.0 * polar / np.where(ring > 0, ring, 1.0))[:, None]
    middle = flat[form.faces].mean(axis=1)
    angle = np.linalg.norm(middle, axis=1) / 100.0
    along = middle / np.maximum(np.linalg.norm(middle, axis=1), 1e-9)[:, None]
    rim = flat[border_rounds(form)[0]]
    return FlatPatch(
        design=PatchDesign("knee cap", ("rim",), PointAnchor(0.0, 0.0, 100.0)),
        form=form,
        flat_mm=flat,
        outline=(FlatEdge("rim", rim, np.arange(len(rim), dtype=float)),),
        stretch=np.stack([np.ones(len(angle)), np.sin(angle) / angle], axis=1),
        stretch_direction=along,
        up=np.array([0.0, 1.0]),
    )


def evenly_stretched(flat: FlatPatch, stretch: float) -> FlatPatch:
    count = len(flat.form.faces)
    return replace(flat, stretch=np.full((count, 2), stretch))


def rgb(png: bytes) -> Bytes:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def colour_amid(png: bytes) -> Bytes:
    """Return the commonest colour that is neither grey nor white."""
    picture = rgb(png)[:, : int(0.85 * rgb(png).shape[1])].reshape(-1, 3)
    picture = picture[np.ptp(picture.astype(int), axis=1) > 25]
    colours, counts = np.unique(picture, axis=0, return_counts=True)
    return colours[np.argmax(counts)].astype(int)


def test_the_governing_strain_is_the_one_further_from_none() -> None:
    stretch = np.array([[1.05, 1.0], [1.02, 0.96], [1.0, 0.9], [1.03, 0.97]])
    np.testing.assert_allclose(governing_strain(stretch), [0.05, -0.04, -0.1, 0.03], atol=1e-12)


def test_area_strain_is_the_growth_of_the_area() -> None:
    stretch = np.array([[1.05, 1.0], [1.04, 1.0 / 1.04], [0.9, 0.9]])
    np.testing.assert_allclose(area_strain(stretch), [0.05, 0.0, -0.19], atol=1e-12)


def test_stretch_is_orange_and_shrink_is_purple(cap: FlatPatch) -> None:
    red, _, blue = colour_amid(png_of_strain(evenly_stretched(cap, 1.05), width_px=600))
    assert red > blue + 60
    red, _, blue = colour_amid(png_of_strain(evenly_stretched(cap, 0.95), width_px=600))
    assert blue > red


def test_the_words_give_the_largest_shrink_of_a_cap(cap: FlatPatch) -> None:
    """Rim of a cap with radial lengths kept: shrink 1 - sin(a)/a, at a = 0.7 just under 8 %."""
    worst_face = int(np.argmax(np.abs(governing_strain(cap.stretch))))
    said = strain_picture._in_words(cap, worst_face)
    limit = 100.0 * (1.0 - np.sin(HALF_ANGLE) / HALF_ANGLE)
    worst = float(said[0].split("up to ")[1].split(" %")[0])
    assert said[0].startswith("Purple")
    assert limit - 0.6 < worst <= limit
    assert all("gain area" not in line for line in said)
    assert f"shrink {worst:.1f} %" in said[1]
    # Radial lengths kept, the blank is larger than the cap: a / (2 sin(a / 2)) by its area's root.
    larger = 100.0 * (HALF_ANGLE / (2.0 * np.sin(HALF_ANGLE / 2.0)) - 1.0)
    assert f"blank {larger:.1f} % larger" in said[2]


def test_a_flat_patch_is_said_to_be_flat(cap: FlatPatch) -> None:
    flat = evenly_stretched(cap, 1.0)
    assert len(rgb(png_of_strain(flat))) > 300
    said = strain_picture._in_words(flat, 0)
    assert said == ["The patch lies flat: nowhere does the sheet stretch or shrink by 0.05 %."]


@pytest.mark.parametrize(
    ("low", "high", "levels"),
    [
        (-3.2, 1.4, [-3.0, -2.0, -1.0, 1.0]),
        (0.1, 0.45, [0.1, 0.2, 0.3, 0.4]),
        (-12.6, 5.8, [-12.0, -10.0, -8.0, -6.0, -4.0, -2.0, 2.0, 4.0]),
    ],
)
def test_contours_stand_at_round_per_cents(low: float, high: float, levels: list[float]) -> None:
    found = strain_contour_levels(low, high)
    assert len(found) <= 9
    assert set(levels) <= set(np.round(found, 6).tolist())


def test_arrows_run_along_the_governing_direction(cap: FlatPatch) -> None:
    """On this cap the sheet shrinks round about, square to the radius."""
    picture = png_of_strain(cap)
    assert picture == png_of_strain(cap)
    faces = strain_picture._arrow_faces(cap, 100.0 * governing_strain(cap.stretch))
    assert 30 < len(faces) < 130


def test_a_patch_of_one_triangle_is_drawn() -> None:
    flat = np.array([[0.0, 0.0], [30.0, 0.0], [0.0, 40.0]])
    form = TriangleMesh(np.column_stack([flat, np.zeros(3)]), np.array([[0, 1, 2]]))
    patch = FlatPatch(
        design=PatchDesign("scale", ("rim",), PointAnchor(0.0, 0.0, 0.0)),
        form=form,
        flat_mm=flat,
        outline=(FlatEdge("rim", flat, np.array([0.0, 30.0, 80.0])),),
        stretch=np.array([[1.02, 1.0]]),
        stretch_direction=np.array([[1.0, 0.0]]),
        up=np.array([0.0, 1.0]),
    )
    red, _, blue = colour_amid(png_of_strain(patch))
    assert red > blue + 60
