"""What a plate is like, in words."""

from __future__ import annotations

import numpy as np

from fitkit.shop.plan_facts import PlanFacts

__all__ = ["radius_words", "shape_words"]


def radius_words(facts: PlanFacts) -> str:
    """Return the radius across the axis at the inside of the sheet, and the tightest."""
    shape, t = facts.shape, facts.thickness_mm
    across = abs(shape.across_mm) - 0.5 * t
    words = f"{across:.0f} mm inside radius"
    if shape.hollow:
        words += ", outside hollow"
    tight = shape.tightest_mm - 0.5 * t
    return f"{words}, {tight:.0f} at the tightest" if tight < 0.85 * across else words


def shape_words(facts: PlanFacts) -> tuple[str, ...]:
    """Return the shape and how the blank's size differs, a line each."""
    shape, demand = facts.shape, facts.demand
    match shape.kind:
        case "flat":
            words = "flat"
        case "rolled":
            words = f"bent one way about {facts.axis_words()}, {radius_words(facts)}"
        case "bowl":
            way = "hollow" if shape.hollow else "bulging"
            words = (
                f"{way} both ways: {abs(shape.across_mm):.0f} mm radius across, "
                f"{abs(shape.along_mm):.0f} along"
            )
        case "saddle":
            out, into = (
                (shape.across_mm, shape.along_mm)
                if shape.across_mm > 0
                else (shape.along_mm, shape.across_mm)
            )
            words = f"a saddle: bulging {out:.0f} mm radius one way, hollow {-into:.0f} the other"
        case "uneven":
            words = (
                "curved differently from place to place: work to the gauges; tightest "
                f"{shape.tightest_mm:.0f} mm"
            )
    cut = 100.0 * (demand.size - 1.0)
    size = "blank as large as the plate"
    if abs(cut) >= 0.05:
        size = f"blank {abs(cut):.1f} % {'smaller' if cut < 0 else 'larger'} than the plate"
    strain = (
        "only bent"
        if demand.only_bent
        else f"stretch up to {100 * (np.maximum(demand.most, 1.0) - 1):.1f} %, "
        f"shrink up to {100 * (1 - np.minimum(demand.least, 1.0)):.1f} %"
    )
    return (words[0].upper() + words[1:], f"{size}; {strain}")
