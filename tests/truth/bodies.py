"""The bodies the scan is scored on: what stands where, its girths, and the walk round it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.field_mesh import mirrored_mesh
from tests.truth.mannequin import stand_parts
from tests.truth.standing_field import HIP_JOINT_MM, TOP_MM, leg_axis, standing_field
from tests.truth.torso_field import ARM_AXIS, BROAD, DISPLAY, SLIGHT, Build, torso_field

__all__ = ["BODIES", "Body", "Girth", "body", "body_mesh"]

BODIES = ("display torso", "broad torso", "slight torso", "standing body")

# height, distance from the axis, height aimed at, first azimuth of eleven photos; mm, degrees
_ROUND_A_STAND = (
    (1000.0, 1400.0, 820.0, 0.0),
    (1320.0, 1310.0, 960.0, 180.0 / 11),
    (1630.0, 1210.0, 990.0, 0.0),
)
_ROUND_A_PERSON = (
    (560.0, 1880.0, 760.0, 0.0),
    (1150.0, 1880.0, 820.0, 180.0 / 11),
    (1740.0, 1800.0, 780.0, 0.0),
)
_UP = np.array([0.0, 0.0, 1.0])
_MIRROR = np.array([-1.0, 1.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Girth:
    """A tape girth: a point inside the ring and the normal of the plane it is taken in.

    ``large`` as ISO 20685-1 parts large from small girths.
    """

    name: str
    through_mm: Floats
    across: Floats
    large: bool


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One body, exactly known; its mesh is that of :func:`body_mesh`.

    Attributes
    ----------
    stand
        What carries it; no part of the truth.
    girths
        All tape girths.
    bottom_mm
        Height of what a maker would call its bottom, None where it stands on the floor.
    top_mm
        Height up to which photos see its skin.
    walk
        Rings of the walk round it, as :func:`tests.truth.camera_walk.camera_walk` takes them.
    """

    name: str
    stand: tuple[TriangleMesh, ...]
    girths: tuple[Girth, ...]
    bottom_mm: float | None
    top_mm: float
    walk: tuple[tuple[float, float, float, float], ...]


def body(name: str) -> Body:
    """Return a body by its name.

    Raises
    ------
    ValueError
        When there is none of that name.
    """
    return _standing() if name == "standing body" else _torso(_build(name))


@cache
def body_mesh(name: str, cell_mm: float = 5.0) -> TriangleMesh:
    """Return a body's mesh: closed, outward wound, mirrored in x = 0, facing -y, floor at 0.

    It takes about half a minute; ten times less with ``cell_mm`` 12, which changes girths by
    a few tenths of a millimetre.
    """
    if name == "standing body":
        low, high = np.array([0.0, -260.0, -10.0]), np.array([520.0, 200.0, TOP_MM + 20.0])
        return mirrored_mesh(standing_field, low, high, cell_mm)
    low, high = np.array([0.0, -200.0, 765.0]), np.array([420.0, 200.0, 1505.0])
    return mirrored_mesh(partial(torso_field, build=_build(name)), low, high, cell_mm)


def _build(name: str) -> Build:
    for build in (DISPLAY, BROAD, SLIGHT):
        if build.name == name:
            return build
    raise ValueError(f"There is no body {name}; choose from {', '.join(BODIES)}.")


def _both_sides(name: str, through_mm: Floats, across: Floats, *, large: bool) -> list[Girth]:
    return [
        Girth(f"left {name}", through_mm, across, large),
        Girth(f"right {name}", through_mm * _MIRROR, across * _MIRROR, large),
    ]


def _trunk_girths() -> list[Girth]:
    heights = {"chest": 1220.0, "waist": 1080.0, "hip": 882.0}
    neck = Girth("neck", np.array([0.0, 5.0, 1466.0]), np.array([0.0, -0.25, 1.0]), False)
    return [neck, *(Girth(name, z * _UP, _UP, True) for name, z in heights.items())]


def _torso(build: Build) -> Body:
    arm = build.shoulder_mm() + 150.0 * ARM_AXIS
    return Body(
        build.name,
        stand_parts(),
        (*_trunk_girths(), *_both_sides("upper arm", arm, ARM_AXIS, large=False)),
        790.0,
        1480.0,
        _ROUND_A_STAND,
    )


def _standing() -> Body:
    shoulder, leg = DISPLAY.shoulder_mm(), leg_axis()
    girths = _trunk_girths()
    for name, start, axis, along, large in (
        ("upper arm", shoulder, ARM_AXIS, 150.0, False),
        ("forearm", shoulder, ARM_AXIS, 340.0, False),
        ("thigh", HIP_JOINT_MM, leg, 200.0, True),
        ("calf", HIP_JOINT_MM, leg, 500.0, False),
    ):
        girths += _both_sides(name, start + along * axis, axis, large=large)
    return Body(
        "standing body",
        (),
        tuple(girths),
        None,
        TOP_MM,
        _ROUND_A_PERSON,
    )
