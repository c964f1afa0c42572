"""Findings of a plate and its mirrored twin, those that are alike told once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fitkit.findings import Finding
from fitkit.template.mirror import mirrored_name

__all__ = ["pair_findings"]


def pair_findings(
    drawn: Sequence[Finding], twin: Sequence[Finding], *, names: tuple[str, str]
) -> tuple[Finding, ...]:
    """Return a pair's findings: alike ones once and for both, then what only the twin has.

    Alike are two that say the same with left and right exchanged; the drawn part's words stand.

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


def _words(finding: Finding, *, twin: bool = False) -> tuple[str, str, str]:
    said = finding.message, finding.remedy
    message, remedy = map(mirrored_name, said) if twin else said
    return finding.code, message, remedy
