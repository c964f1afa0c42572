"""Softening work-hardened sheet: temperature, sign and caution by alloy."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

__all__ = ["Anneal", "anneal_of"]


@dataclass(frozen=True, slots=True)
class Anneal:
    """How a material is annealed.

    Attributes
    ----------
    celsius
        Least and most temperature.
    melts_celsius
        Where it starts to melt.
    hold, cool, sign, caution
        In words; the caution may be empty.
    source, confidence
        Where it comes from: ``seen``, ``memory`` or ``practice``.
    """

    celsius: tuple[float, float]
    melts_celsius: float
    hold: str
    cool: str
    sign: str
    caution: str
    source: str
    confidence: str

    @property
    def margin_kelvin(self) -> float:
        """How far above the anneal's highest temperature melting starts."""
        return self.melts_celsius - self.celsius[1]

    def temperature(self) -> str:
        """As a maker reads it: ``"343 to 413 °C"``."""
        least, most = self.celsius
        return f"{least:g} °C" if least == most else f"{least:g} to {most:g} °C"


@cache
def _table() -> dict[str, Anneal]:
    text = files("fitkit.materials").joinpath("anneals.toml").read_text(encoding="utf-8")
    return {
        material: Anneal(
            celsius=(float(row["celsius"][0]), float(row["celsius"][1])),
            melts_celsius=float(row["melts_celsius"]),
            hold=row["hold"],
            cool=row["cool"],
            sign=row["sign"],
            caution=row["caution"],
            source=row["source"],
            confidence=row["confidence"],
        )
        for row in tomllib.loads(text)["anneal"]
        for material in row["materials"]
    }


def anneal_of(material: str) -> Anneal | None:
    """Return how a material is annealed, by its name in the table of sheets.

    None for what is not annealed.
    """
    return _table().get(material)
