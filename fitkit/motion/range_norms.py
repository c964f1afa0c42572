"""How far people's joints go, by published source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["NORMS", "SOURCES", "RangeNorm"]

SOURCES = MappingProxyType(
    {
        "AAOS": "American Academy of Orthopaedic Surgeons, Joint Motion: Method of Measuring and "
        "Recording, 1965",
        "AMA": "American Medical Association, Guides to the Evaluation of Permanent Impairment",
        "CDC": "J. M. Soucie et al., Haemophilia 17, 2011, age 20-44, mean of women and men, "
        "passive",
    }
)
"""What each short name stands for."""


@dataclass(frozen=True, slots=True)
class RangeNorm:
    """One movement's normal range.

    Attributes
    ----------
    by_source
        Degrees from the anatomical zero by short name of :data:`SOURCES`; where a source gives a
        lower bound only, that bound.
    confidence
        ``"read"`` where the figures were read on a page, ``"from memory"`` where not.
    """

    by_source: Mapping[str, float]
    confidence: str


def _norm(
    aaos: float, ama: float | None = None, cdc: float | None = None, *, read: bool = False
) -> RangeNorm:
    figures = {
        source: figure
        for source, figure in (("AAOS", aaos), ("AMA", ama), ("CDC", cdc))
        if figure is not None
    }
    return RangeNorm(MappingProxyType(figures), "read" if read else "from memory")


# The CDC figures are from memory throughout.
NORMS: Mapping[str, RangeNorm] = MappingProxyType(
    {
        "neck bend forward": _norm(45, 50),
        "neck bend back": _norm(45, 60),
        "neck tilt": _norm(45, 45),
        "neck turn": _norm(60, 80),
        "spine bend forward": _norm(80),
        "spine bend back": _norm(25),
        "spine tilt": _norm(35),
        "spine turn": _norm(45),
        "shoulder lift forward": _norm(180, 180, 170.4, read=True),
        "shoulder lift back": _norm(60, 50, read=True),
        "shoulder lift sideways": _norm(180, 170, read=True),
        "shoulder turn in": _norm(70, 80, read=True),
        "shoulder turn out": _norm(90, 60, read=True),
        "elbow bend": _norm(150, 140, 147.3, read=True),
        "forearm turn palm down": _norm(80, 80, 79.5, read=True),
        "forearm turn palm up": _norm(80, 80, 87.8, read=True),
        "wrist bend": _norm(80, 60, read=True),
        "wrist bend back": _norm(70, 60, read=True),
        "wrist tilt to the thumb": _norm(20, 20, read=True),
        "wrist tilt from the thumb": _norm(30, 30, read=True),
        "hip bend": _norm(120, 100, 132.1),
        "hip stretch back": _norm(30, 30, 17.8),
        "hip spread": _norm(45, 40),
        "hip close": _norm(30, 20),
        "knee bend": _norm(135, 150, 139.8, read=True),
        "ankle lift toes": _norm(20, 20, 13.3, read=True),
        "ankle point toes": _norm(50, 40, 58.4, read=True),
    }
)
"""Normal ranges by movement, without the side."""
