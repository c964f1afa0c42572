"""The forming plan of one part, by what it is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fitkit.flatten.flat_patch import FlatPatch
from fitkit.shop.forming_step import FormingPlan
from fitkit.shop.metal_plan import metal_plan
from fitkit.shop.plan_facts import PlanFacts, plan_facts
from fitkit.shop.soft_plans import card_plan, foam_plan, leather_plan
from fitkit.template.correction import Correction
from fitkit.template.rivet_joint import RivetHoles

__all__ = ["plan_of", "plan_part"]

_SOFT = {"card": card_plan, "foam": foam_plan, "leather": leather_plan}


def plan_part(
    flat: FlatPatch,
    *,
    rivets: Sequence[RivetHoles] = (),
    correction: Correction | None = None,
    twin: bool = False,
) -> FormingPlan:
    """Return how a part is made.

    Parameters
    ----------
    rivets
        Rows of holes in this blank.
    correction
        What the maker changed on a card piece of it.
    twin
        Whether it is the mirrored part of a pair.

    Raises
    ------
    InputError
        When the sheet is thicker than the tables of bends go.
    """
    return plan_of(replace(plan_facts(flat, rivets=rivets, correction=correction), twin=twin))


def plan_of(facts: PlanFacts) -> FormingPlan:
    """Return how a part is made, by what was read off its blank; see :func:`plan_part`."""
    return _SOFT.get(facts.material.name, metal_plan)(facts)
