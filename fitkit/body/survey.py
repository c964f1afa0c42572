"""Body sizes of a published survey, to fill what a tape list leaves out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, TypeAlias

from fitkit.errors import InputError

__all__ = ["SURVEY_GROUPS", "SurveyGroup", "filled_tape_mm", "survey_mm"]

SurveyGroup: TypeAlias = Literal["men", "women"]
SURVEY_GROUPS: tuple[SurveyGroup, ...] = ("men", "women")

# Mean and standard deviation in mm. C. C. Gordon et al., 2012 Anthropometric Survey of U.S. Army
# Personnel: Methods and Summary Statistics, NATICK/TR-15/007, 2014 (approved for public release,
# distribution unlimited), computed from its public individual data: 4082 men, 1986 women,
# soldiers of 17 to 58. Waist girth there is at the navel, the upper arm's is flexed.
_STATURE = {"men": (1756.2, 68.6), "women": (1628.5, 64.2)}
_GIRTHS = {
    "chest": {"men": (1058.7, 87.4), "women": (946.9, 82.7)},
    "waist": {"men": (940.6, 111.7), "women": (860.9, 99.9)},
    "hip": {"men": (1019.5, 76.7), "women": (1021.2, 75.9)},
    "neck": {"men": (397.6, 25.8), "women": (329.8, 19.2)},
    "upper arm": {"men": (358.1, 34.6), "women": (305.6, 30.8)},
}
_LENGTHS = {
    "neck height": {"men": (1517.3, 63.3), "women": (1395.7, 59.5)},
    "waist height": {"men": (1056.5, 52.2), "women": (980.1, 50.0)},
    "shoulder height": {"men": (1440.7, 63.3), "women": (1335.1, 58.1)},
    "crotch height": {"men": (845.9, 46.5), "women": (782.3, 44.6)},
    "shoulder breadth": {"men": (415.7, 19.2), "women": (365.3, 18.3)},
    "upper arm length": {"men": (335.2, 17.5), "women": (311.2, 17.2)},
}


def survey_mm(name: str, group: SurveyGroup, *, deviations: float = 0.0) -> float:
    """Return a measure of the survey, so many standard deviations above its mean.

    Raises
    ------
    InputError
        When the survey does not hold that measure here.
    """
    tables = {"stature": _STATURE, **_GIRTHS, **_LENGTHS}
    if name not in tables:
        raise InputError(f"The survey holds no '{name}' here.", f"Choose from {', '.join(tables)}.")
    mean, spread = tables[name][group]
    return mean + deviations * spread


def filled_tape_mm(
    tape_mm: Mapping[str, float], group: SurveyGroup
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Return stature, girths and lengths of a torso, and the names of those filled in.

    A girth left out is as many standard deviations from the survey's mean as those that are
    given, on average. A stature left out is the mean; a length left out is the mean's share of
    the stature.
    """
    given = {" ".join(name.lower().split()): float(length) for name, length in tape_mm.items()}
    both = [
        given[f"{side} upper arm"] for side in ("left", "right") if f"{side} upper arm" in given
    ]
    if both and "upper arm" not in given:
        given["upper arm"] = sum(both) / len(both)
    known = [name for name in _GIRTHS if name in given]
    scores = [(given[name] - _GIRTHS[name][group][0]) / _GIRTHS[name][group][1] for name in known]
    score = sum(scores) / len(scores) if scores else 0.0
    stature = given.get("stature", survey_mm("stature", group))
    whole = {"stature": stature}
    for name in _GIRTHS:
        whole[name] = given.get(name, survey_mm(name, group, deviations=score))
    share = stature / survey_mm("stature", group)
    for name in _LENGTHS:
        whole[name] = given.get(name, share * survey_mm(name, group))
    return whole, tuple(name for name in whole if name not in given)
