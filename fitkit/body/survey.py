"""Body sizes of a published survey, to fill what a tape list leaves out."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal, TypeAlias

import numpy as np

from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats, frozen_floats

__all__ = [
    "SURVEY_GROUPS",
    "SurveyGroup",
    "filled_tape_mm",
    "survey_mm",
    "survey_names",
    "survey_spread_mm",
]

SurveyGroup: TypeAlias = Literal["men", "women"]
SURVEY_GROUPS: tuple[SurveyGroup, ...] = ("men", "women")

_SIDES = ("left", "right")
# What a tape list is believed to, in standard deviations; it keeps two numbers that contradict
# each other from driving the rest to extremes.
_TAPE_ERROR = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class _Sizes:
    """Mean (N,) and standard deviation (N,) in mm, correlations (N, N), in order of the names."""

    names: tuple[str, ...]
    mean_mm: Floats
    spread_mm: Floats
    together: Floats


def survey_names() -> tuple[str, ...]:
    """Return the measures that the survey holds, by the names that tape lists use."""
    return _sizes("men").names


def survey_mm(name: str, group: SurveyGroup, *, deviations: float = 0.0) -> float:
    """Return a measure of the survey, so many standard deviations above its mean.

    Raises
    ------
    InputError
        When the survey does not hold that measure.
    """
    sizes = _sizes(group)
    k = _index(sizes, name)
    return float(sizes.mean_mm[k] + deviations * sizes.spread_mm[k])


def survey_spread_mm(name: str, group: SurveyGroup) -> float:
    """Return the standard deviation of a measure of the survey; errors as :func:`survey_mm`."""
    sizes = _sizes(group)
    return float(sizes.spread_mm[_index(sizes, name)])


def filled_tape_mm(
    tape_mm: Mapping[str, float], group: SurveyGroup
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Return every measure of the survey, and the names of those filled in.

    What the list leaves out is what people of the given measures have on average: the linear
    regression on all that is given, by the survey's means, spreads and correlations. What is
    given for both sides counts with its mean.

    References
    ----------
    T. W. Anderson, *An Introduction to Multivariate Statistical Analysis*, 3rd ed., Wiley 2003,
    section 2.5: the conditional mean of jointly normal measures.
    """
    sizes = _sizes(group)
    told = {" ".join(name.lower().split()): float(length) for name, length in tape_mm.items()}
    given: dict[str, float] = {}
    for name in sizes.names:
        sides = [told[f"{side} {name}"] for side in _SIDES if f"{side} {name}" in told]
        if name in told or sides:
            given[name] = told.get(name, sum(sides) / max(len(sides), 1))
    known = np.array([sizes.names.index(name) for name in given], dtype=np.int64)
    score = (np.array(list(given.values())) - sizes.mean_mm[known]) / sizes.spread_mm[known]
    own = sizes.together[np.ix_(known, known)] + _TAPE_ERROR**2 * np.eye(len(known))
    expected = sizes.together[:, known] @ np.linalg.solve(own, score)
    lengths = sizes.mean_mm + expected * sizes.spread_mm
    whole = dict(zip(sizes.names, lengths.tolist(), strict=True)) | given
    return whole, tuple(name for name in sizes.names if name not in given)


def _index(sizes: _Sizes, name: str) -> int:
    if name not in sizes.names:
        raise InputError(f"The survey holds no '{name}'.", f"Choose from {', '.join(sizes.names)}.")
    return sizes.names.index(name)


@cache
def _sizes(group: SurveyGroup) -> _Sizes:
    text = files("fitkit.body").joinpath("survey.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    count = len(table["names"])
    own = table[group]
    together = np.eye(count)
    for k, row in enumerate(own["correlations"], start=1):
        together[k, :k] = together[:k, k] = row
    return _Sizes(
        tuple(table["names"]),
        frozen_floats(own["mean_mm"], (count,), "mean_mm"),
        frozen_floats(own["spread_mm"], (count,), "spread_mm"),
        frozen_floats(together, (count, count), "correlations"),
    )
