"""Findings of a plate and its mirrored twin, those that are alike told once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from fitkit.findings import Finding
from fitkit.template.mirror import mirrored_name

__all__ = ["pair_findings"]

# Outside names "left" may mean what remains; an apostrophe within a word opens no name.
_QUOTED = re.compile(r"(?<!\w)'.+?'(?!\w)")


def pair_findings(
    drawn: Sequence[Finding], twin: Sequence[Finding], *, names: tuple[str, str]
) -> tuple[Finding, ...]:
    """Return a pair's findings: alike ones once and for both, then what only the twin has.

    Alike are two that say the same with left and right exchanged in the names they quote; the
    drawn part's words stand.

    Parameters
    ----------
    names
        Of the drawn part and of its twin, without their sides.
    """
    plain = names[0] == names[1]
    both = f"{names[0]}, left and right" if plain else f"{names[0]} and {names[1]}"
    left = list(twin)
    told = []
    for finding in drawn:
        like = next((one for one in left if _words(one, twin=True) == _words(finding)), None)
        if like is not None:
            left.remove(like)
            finding = replace(finding, where=both)
        told.append(finding)
    return (*told, *left)


def _words(finding: Finding, *, twin: bool = False) -> tuple[str, ...]:
    said = finding.message, finding.remedy
    if twin:
        said = _mirrored(finding.message), _mirrored(finding.remedy)
    return finding.code, *said


def _mirrored(text: str) -> str:
    return _QUOTED.sub(lambda name: mirrored_name(name.group(0)), text)
