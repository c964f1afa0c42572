"""Bends: how much flat sheet a fold takes up, by handbook formula.

Angles are how far the sheet is turned: 0 flat, a half turn folded back on itself. The inside
radius is R, the thickness t, K the place of the neutral line in the thickness (0 inside, 1
outside).
"""

from __future__ import annotations

import math

from fitkit.errors import InputError

__all__ = [
    "ALUMINIUM_K",
    "bend_allowance_mm",
    "bend_deduction_mm",
    "din_6935_deduction_mm",
    "din_6935_factor",
    "hem_allowance_mm",
    "hole_to_bend_mm",
    "rolled_edge_allowance_mm",
    "setback_mm",
    "wired_edge_allowance_mm",
]

# Machinery's Handbook, aluminium and soft steel: 1.57 R + 0.64 t at a right angle; from memory.
ALUMINIUM_K = 0.41


def bend_allowance_mm(
    angle_rad: float, inside_radius_mm: float, thickness_mm: float, k: float = ALUMINIUM_K
) -> float:
    """Return the neutral line's length round a bend: A (R + K t)."""
    _check(angle_rad, inside_radius_mm, thickness_mm)
    return angle_rad * (inside_radius_mm + k * thickness_mm)


def setback_mm(angle_rad: float, inside_radius_mm: float, thickness_mm: float) -> float:
    """Return the way from a bend's tangent to the sharp outside corner: tan(A/2) (R + t).

    AC 43.13-1B, figure 4-3.
    """
    _check(angle_rad, inside_radius_mm, thickness_mm)
    if angle_rad >= math.pi:
        raise InputError("A fold flat back on itself has no corner.", "Use a hem's allowance.")
    return math.tan(angle_rad / 2.0) * (inside_radius_mm + thickness_mm)


def bend_deduction_mm(
    angle_rad: float, inside_radius_mm: float, thickness_mm: float, k: float = ALUMINIUM_K
) -> float:
    """Return what to take off the sum of the outside legs: twice the setback less the allowance."""
    return 2.0 * setback_mm(angle_rad, inside_radius_mm, thickness_mm) - bend_allowance_mm(
        angle_rad, inside_radius_mm, thickness_mm, k
    )


def din_6935_factor(inside_radius_mm: float, thickness_mm: float) -> float:
    """Return DIN 6935's k = 0.65 + 0.5 log10(r/s), held at 1 above r/s = 5 (K is half of it)."""
    if inside_radius_mm <= 0 or thickness_mm <= 0:
        raise InputError("DIN 6935 needs a radius and a thickness above zero.", "Give both in mm.")
    ratio = inside_radius_mm / thickness_mm
    return 1.0 if ratio > 5.0 else min(1.0, 0.65 + 0.5 * math.log10(ratio))


def din_6935_deduction_mm(
    opening_angle_rad: float,
    inside_radius_mm: float,
    thickness_mm: float,
    factor: float | None = None,
) -> float:
    """Return v in L = a + b - v for outside legs a and b.

    Parameters
    ----------
    opening_angle_rad
        The angle between the legs: a half turn less what the sheet is turned.
    factor
        k as read off the standard's chart; by its formula when None.
    """
    if not 0.0 < opening_angle_rad <= math.pi:
        raise InputError("The legs' opening angle must lie between 0 and 180°.", "Check the angle.")
    k = din_6935_factor(inside_radius_mm, thickness_mm) if factor is None else factor
    turned = math.pi - opening_angle_rad
    arc = turned * (inside_radius_mm + thickness_mm * k / 2.0)
    reach = inside_radius_mm + thickness_mm
    if opening_angle_rad <= math.pi / 2.0:
        return 2.0 * reach - arc
    if opening_angle_rad <= math.radians(165.0):
        return 2.0 * reach * math.tan(turned / 2.0) - arc
    return 0.0


def hem_allowance_mm(width_mm: float, *, double: bool = False) -> float:
    """Return what a hem adds to the edge: its width, twice for a double one (Navy steelworker)."""
    return (2.0 if double else 1.0) * width_mm


def wired_edge_allowance_mm(wire_mm: float, thickness_mm: float) -> float:
    """Return what an edge wrapped round a wire adds.

    Two and a half times the wire (Navy steelworker; 1/8 in wire takes 5/16 in), which is for
    thin sheet: thicker sheet needs the way round at its own middle, three quarters of
    pi (d + t), and the larger of the two is given.
    """
    return max(2.5 * wire_mm, rolled_edge_allowance_mm(wire_mm, thickness_mm))


def rolled_edge_allowance_mm(
    inside_mm: float, thickness_mm: float, turned_rad: float = 1.5 * math.pi
) -> float:
    """Return what an edge rolled to a hollow bead adds: the way round at the sheet's middle.

    ``inside_mm`` is the bead's inside diameter; ``turned_rad`` how far it is rolled, three
    quarters of a turn as a rule.
    """
    return turned_rad * (inside_mm + thickness_mm) / 2.0


def hole_to_bend_mm(inside_radius_mm: float, thickness_mm: float) -> float:
    """Return how far a hole's edge keeps from a bend: 2.5 t + R (sheet-metal design guides)."""
    return 2.5 * thickness_mm + inside_radius_mm


def _check(angle_rad: float, inside_radius_mm: float, thickness_mm: float) -> None:
    if not 0.0 <= angle_rad <= math.pi or inside_radius_mm < 0 or thickness_mm <= 0:
        raise InputError(
            "A bend needs an angle up to 180°, a radius of zero or more and a thickness.",
            "Check the three numbers.",
        )
