"""What one number of a mesh file means in millimetres: given, or plain from the size, or asked."""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

import numpy as np

from fitkit.errors import InputError
from fitkit.findings import Finding, Severity
from fitkit.geometry.mesh import TriangleMesh
from fitkit.units import MM_PER_UNIT

__all__ = ["MeshUnit", "mesh_in_mm", "unit_readings", "units_of_size"]

MeshUnit: TypeAlias = Literal["mm", "cm", "m", "in"]

# From a child's hand or head to a tall wearer with the arms raised.
_LEAST_MM, _MOST_MM = 120.0, 2600.0
_USUAL_MM = 1300.0
_READINGS = 3


def mesh_in_mm(
    mesh: TriangleMesh, *, unit: MeshUnit | None = None, called: str = "The mesh"
) -> tuple[TriangleMesh, tuple[Finding, ...]]:
    """Return a mesh in millimetres.

    Without a unit the file's numbers are taken for millimetres, and a finding says so, only
    where no other unit would make it the size of a body or of a part of one.

    Parameters
    ----------
    mesh
        In the file's own numbers.
    unit
        What one of them is.
    called
        The file, for messages.

    Raises
    ------
    InputError
        When the size is no body's; without a unit it lists the likeliest readings.
    """
    size = float(np.ptp(mesh.vertices, axis=0).max())
    if unit is not None:
        longest_mm = size * MM_PER_UNIT[unit]
        if not _LEAST_MM <= longest_mm <= _MOST_MM:
            raise InputError(
                f"{called} is {_said(longest_mm)} at its longest when read in {unit}.",
                f"No body or part of one is that size; the likeliest readings are "
                f"{_readings(size)}.",
            )
        factor = MM_PER_UNIT[unit]
        return (mesh if factor == 1 else mesh.with_vertices(mesh.vertices * factor)), ()
    readings = unit_readings(mesh)
    if readings:
        raise InputError(
            f"{called} is {size:.4g} at its longest and does not say in what unit.",
            f"Give its unit with --unit (mesh_unit in [body] of job.toml); the likeliest "
            f"readings are {readings}.",
        )
    return mesh, (
        Finding(
            "mesh-unit-assumed",
            Severity.NOTE,
            "mesh",
            f"{called} is {size:.4g} at its longest and does not say in what unit; only in "
            "millimetres is that the size of a body.",
            "",
            size,
            None,
            "mm",
        ),
    )


def unit_readings(mesh: TriangleMesh) -> str:
    """Return the three likeliest readings of a mesh's size in words; empty where it is plain.

    It is plain where no unit but the millimetre makes it the size of a body or of a part of one.
    """
    size = float(np.ptp(mesh.vertices, axis=0).max())
    fitting = [name for name, factor in MM_PER_UNIT.items() if _is_a_body(size * factor)]
    return "" if fitting == ["mm"] else _readings(size)


def units_of_size(size: float) -> tuple[tuple[MeshUnit, float], ...]:
    """Return every unit in which a mesh of that size may be a body, with the length in mm then.

    The likeliest first.
    """
    fitting = [name for name in _likeliest(size) if _is_a_body(size * MM_PER_UNIT[name])]
    return tuple((name, size * MM_PER_UNIT[name]) for name in fitting)


def _is_a_body(longest_mm: float) -> bool:
    return _LEAST_MM <= longest_mm <= _MOST_MM


def _likeliest(size: float) -> list[MeshUnit]:
    """Return the units, that in which a size is likeliest a body's first."""

    def unlikely(name: MeshUnit) -> tuple[bool, float]:
        longest_mm = size * MM_PER_UNIT[name]
        return not _is_a_body(longest_mm), abs(float(np.log(max(longest_mm, 1e-9) / _USUAL_MM)))

    return sorted(get_args(MeshUnit), key=unlikely)


def _readings(size: float) -> str:
    """Return the three likeliest readings of a size, the likeliest first."""
    best = _likeliest(size)[:_READINGS]
    return ", ".join(f"{name} ({_said(size * MM_PER_UNIT[name])})" for name in best)


def _said(length_mm: float) -> str:
    if length_mm < 1000:
        return f"{length_mm:.3g} mm"
    return f"{length_mm / 1000:.3g} m"
