"""Blanks told in lines and dots: where to stretch, where to gather, mirrored for a twin."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely

from fitkit.body.side import Side
from fitkit.drawing.drawing import Layer
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.patch.design import EdgeTreatment
from fitkit.shop.blank_view import BlankView, blank_view
from fitkit.shop.plan_facts import plan_facts
from fitkit.template.make_templates import make_templates
from tests.template.parts import rectangle
from tests.truth import solids


@cache
def views(forming: str) -> tuple[BlankView, ...]:
    """Return the views of a cap and its twin."""
    cap = solids.spherical_cap(100.0, 0.8, 7.0)
    design = {"material": "aluminium 1100-O", "thickness_mm": 1.0, "forming": forming}
    design |= {"side": Side.LEFT, "paired": True}
    flat = flatten_patch(solids.patch_of(cap, name="cap", lines=("left rim",), **design))
    templates = make_templates(flat, number=1, job_name="Heron Warden", wearer="")
    return tuple(
        blank_view(template, replace(plan_facts(flat), twin=bool(twin)))
        for twin, template in enumerate(templates)
    )


def test_dishing_is_hatched_and_raising_is_dotted() -> None:
    dished, raised = views("dish")[0], views("raise")[0]
    assert dished.hatching_mm is not None
    assert dished.dots_mm is not None
    assert raised.hatching_mm is not None
    assert raised.dots_mm is not None
    assert len(dished.hatching_mm) > 20
    assert len(dished.dots_mm) == 0
    assert len(raised.dots_mm) > 100
    assert len(raised.hatching_mm) == 0
    assert all(contour.percent > 0 for contour in dished.contours)
    assert all(contour.percent < 0 for contour in raised.contours)
    assert dished.worst.startswith("stretch")
    assert raised.worst.startswith("shrink")


def test_contours_of_a_cap_are_round_about_its_middle() -> None:
    """Each lies on a circle about the pole, to half an edge of the mesh."""
    view = views("dish")[0]
    middle = np.mean([view.cut_mm.min(axis=0), view.cut_mm.max(axis=0)], axis=0)
    for contour in view.contours:
        reach = np.linalg.norm(contour.points_mm - middle, axis=1)
        assert reach.std() < 3.5


def test_all_of_it_lies_on_the_blank_and_twins_are_mirror_images() -> None:
    one, twin = views("dish")
    area = shapely.Polygon(one.cut_mm).buffer(0.5)
    assert one.hatching_mm is not None
    assert twin.hatching_mm is not None
    assert shapely.covers(area, shapely.multipoints(one.hatching_mm.reshape(-1, 2)))
    assert one.worst_mm is not None
    assert twin.worst_mm is not None
    flip = np.array([one.size_mm[0], 0.0]) - one.worst_mm * np.array([1.0, -1.0])
    assert twin.worst_mm == pytest.approx(flip, abs=1e-6)
    assert [name.name for name in one.names] == ["left rim"]
    assert [name.name for name in twin.names] == ["right rim"]
    for view in (one, twin):
        name = view.names[0]
        inside = shapely.Polygon(view.cut_mm)
        assert not inside.contains(shapely.Point(name.at_mm + 3.0 * name.outward))


def test_flat_plate_shows_folds_and_no_strain() -> None:
    flat = rectangle(edges={"head": EdgeTreatment("hem", 6.0)}, thickness_mm=1.0)
    (template,) = make_templates(flat, number=1, job_name="", wearer="")
    view = blank_view(template, plan_facts(flat))
    assert (view.contours, view.hatching_mm, view.worst) == ((), None, "")
    assert Layer.BEND in {layer for layer, _ in view.lines}
