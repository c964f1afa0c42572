"""Sheet materials: what a part can be cut from, read from a table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from fitkit.errors import InputError
from fitkit.materials.bend import ALUMINIUM_K
from fitkit.materials.forming import Forming

__all__ = ["SheetMaterial", "sheet_material_named", "sheet_materials"]


@dataclass(frozen=True, slots=True)
class SheetMaterial:
    """One row of the table.

    Attributes
    ----------
    name, also
        Its name, and other names that mean the same.
    density_kg_m3
        Mass of one cubic metre.
    stretch_limit, shrink_limit
        Largest lengthening and shortening in forming, as fractions (0.12 is 12 %); along the grain
        where the sheet has one.
    stretch_across_limit, shrink_across_limit
        The same across the grain; alike for sheet that has none.
    forming
        How a part of it is made unless the maker says otherwise; see
        :data:`fitkit.materials.forming.Forming`.
    pass_limit, annealed_limit
        True strain that one round of forming may put in: the first, and each after an anneal.
        None where the sheet is not annealed.
    bend_k
        Where the neutral line of a bend lies in the thickness, 0 inside to 1 outside.
    thicknesses_mm
        What shops usually hold, thinnest first.
    source, confidence
        Where the figures come from and how far to trust them: ``seen``, ``memory`` or
        ``practice``.
    """

    name: str
    also: tuple[str, ...]
    density_kg_m3: float
    stretch_limit: float
    shrink_limit: float
    stretch_across_limit: float
    shrink_across_limit: float
    forming: Forming
    pass_limit: float | None
    annealed_limit: float | None
    bend_k: float
    thicknesses_mm: tuple[float, ...]
    source: str
    confidence: str

    def mass_kg_m2(self, thickness_mm: float) -> float:
        """Return the mass of one square metre of a thickness."""
        return self.density_kg_m3 * thickness_mm / 1000.0


@cache
def sheet_materials() -> tuple[SheetMaterial, ...]:
    """Return every row of the table, in its order."""
    text = files("fitkit.materials").joinpath("sheet_materials.toml").read_text(encoding="utf-8")
    return tuple(
        SheetMaterial(
            name=row["name"],
            also=tuple(row.get("also", ())),
            density_kg_m3=float(row["density_kg_m3"]),
            stretch_limit=float(row["stretch_limit"]),
            shrink_limit=float(row["shrink_limit"]),
            stretch_across_limit=float(row.get("stretch_across_limit", row["stretch_limit"])),
            shrink_across_limit=float(row.get("shrink_across_limit", row["shrink_limit"])),
            forming=row["forming"],
            pass_limit=row.get("pass_limit"),
            annealed_limit=row.get("annealed_limit"),
            bend_k=float(row.get("bend_k", ALUMINIUM_K)),
            thicknesses_mm=tuple(float(t) for t in row["thicknesses_mm"]),
            source=row["source"],
            confidence=row["confidence"],
        )
        for row in tomllib.loads(text)["material"]
    )


def sheet_material_named(name: str) -> SheetMaterial:
    """Return the material of that name, whatever its letter case.

    Raises
    ------
    InputError
        When there is none; the remedy names the nearest or lists all.
    """

    def folded(text: str) -> str:
        return " ".join(text.lower().replace("aluminum", "aluminium").split())

    rows = {
        folded(word): material
        for material in sheet_materials()
        for word in (material.name, *material.also)
    }
    wanted = folded(name)
    if wanted in rows:
        return rows[wanted]
    near = get_close_matches(wanted, rows, n=1)
    names = ", ".join(material.name for material in sheet_materials())
    raise InputError(
        f"There is no material called '{name}'.",
        f"Did you mean '{rows[near[0]].name}'?" if near else f"Choose one of: {names}.",
    )
