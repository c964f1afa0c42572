"""A plain whole body made of a few dozen lengths: what a stand-in starts from.

Trunk and legs are lofted through level sections, arms through round ones; head, hands and feet
are a few soft solids. Everything depends on ``|x|`` only, so left and right are mirror images.
How full the sections are between the tapes is by eye, no source; the tape list settles what the
girths come to.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.interpolate import PchipInterpolator

from fitkit.geometry.arrays import Floats
from fitkit.geometry.soft_solids import cut, ellipsoid, joined, mound, round_limb

__all__ = ["PlainShape"]

_ARM_TILT_RAD = np.radians(28.0)
_FOREARM_TILT_RAD = np.radians(22.0)
_FOREARM_AHEAD_RAD = np.radians(14.0)
# A waist is found only where it is narrower than what is above and below it.
_WIDEST_WAIST = 0.93
# The survey's chest breadth is that of the ribs; a girth also goes round the muscles of the back.
_CHEST_OVER_RIBS = 1.12
# An arm's length over the skin, round shoulder and elbow, is longer than its middle.
_BONE_SHARE = 0.95


class PlainShape:
    """The body as a field, about a distance in mm and negative inside, and where its joints are.

    It stands on z = 0 facing -y, its arms held off. ``sizes_mm`` are lengths in mm by the names of
    :func:`fitkit.body.survey.survey_names`, all of them.
    """

    def __init__(self, sizes_mm: Mapping[str, float]) -> None:
        self.s = dict(sizes_mm)
        s = self.s
        self.unit = s["stature"] / 1700.0
        tilt = np.array([np.sin(_ARM_TILT_RAD), 0.0, -np.cos(_ARM_TILT_RAD)])
        thick = s["upper arm"] / (2 * np.pi)
        back = self._back()["shoulder height"]
        self.shoulder = np.array(
            [0.5 * s["shoulder breadth"] - 0.2 * thick, back - 0.28 * s["chest depth"],
             s["shoulder height"] - 1.05 * thick]
        )  # fmt: skip
        self.elbow = self.shoulder + (_BONE_SHARE * s["upper arm length"] - 0.9 * thick) * tilt
        ahead = np.array(
            [np.sin(_FOREARM_TILT_RAD), -np.sin(_FOREARM_AHEAD_RAD), -np.cos(_FOREARM_TILT_RAD)]
        )
        self.along_forearm = ahead / np.linalg.norm(ahead)
        forearm = _BONE_SHARE * (s["arm length"] - s["upper arm length"])
        self.wrist = self.elbow + forearm * self.along_forearm
        self.tip = self.wrist + s["hand length"] * self.along_forearm

    def joints(self) -> dict[str, Floats]:
        """Return the middles of the left joints, (3,) float mm each."""
        rows = self._leg_rows()
        return {
            "elbow": self.elbow,
            "wrist": self.wrist,
            "hip": rows[9, [1, 2, 0]],
            "knee": rows[6, [1, 2, 0]],
            "ankle": rows[1, [1, 2, 0]],
        }

    def looks(self) -> dict[str, tuple[Floats, Floats]]:
        """Return places inside the body and ways to look from there at a point of its skin."""
        s = self.s
        neck_y = self._back()["neck height"] - s["neck"] / (2 * np.pi)
        inside = np.array([0.0, neck_y, s["neck height"]])
        beside = np.array([0.0, neck_y, 0.5 * s["neck height"] + 0.5 * s["shoulder height"]])
        front = np.array([0.0, neck_y, 0.8 * s["front neck height"] + 0.2 * s["neck height"]])
        acromion = np.array([0.5 * s["shoulder breadth"], self.shoulder[1], self.shoulder[2]])
        return {
            "back neck": (inside, np.array([0.0, 1.0, 0.0])),
            "front neck": (front, np.array([0.0, -1.0, 0.0])),
            "left neck": (beside, np.array([1.0, 0.0, 0.0])),
            "left shoulder": (acromion, np.array([0.0, 0.0, 1.0])),
        }

    def reach_mm(self, margin: float) -> tuple[Floats, Floats]:
        """Return the corners (3,) of a box about the left half."""
        s = self.s
        deep = max(s["chest depth"], s["waist depth"], s["hip depth"], s["foot length"]) + margin
        low = np.array([0.0, min(-deep, self.tip[1] - 60.0), -margin])
        high = np.array([max(self.tip[0] + 80.0, 0.8 * s["hip breadth"]), deep,
                         s["stature"] + margin])  # fmt: skip
        return low, high

    def field(self, p: Floats) -> Floats:
        """Return the field (...) at points (..., 3) with x >= 0."""
        u = self.unit
        body = joined(self._trunk(p), self._neck(p), 30.0 * u)
        body = joined(body, self._head(p), 14.0 * u)
        body = joined(body, self._arm(p), 14.0 * u)
        body = joined(body, self._leg(p), 22.0 * u)
        return cut(body, -p[..., 2], 4.0 * u)

    def _back(self) -> dict[str, float]:
        """Return y of the back's skin by level, from the seat up: seat and blades stand out."""
        u = self.unit
        seat = 0.5 * self.s["hip depth"]
        return {
            "hip height": seat,
            "waist height": seat - 34.0 * u,
            "chest height": seat - 12.0 * u,
            "shoulder height": seat - 18.0 * u,
            "neck height": seat - 42.0 * u,
        }

    def _trunk(self, p: Floats) -> Floats:
        s, u, back = self.s, self.unit, self._back()
        x, y, z = np.moveaxis(p, -1, 0)
        narrow = min(1.0, _WIDEST_WAIST * min(s["chest"], s["hip"]) / s["waist"])
        wide, deep = narrow * s["waist breadth"], narrow * s["waist depth"]
        bust, seat = self._bust_mm(), 16.0 * u
        neck = s["neck"] / (2 * np.pi)
        top, shoulder = s["neck height"], s["shoulder height"]
        slope = top - shoulder
        crotch, hip, waist, chest = (
            s[f"{name} height"] for name in ("crotch", "hip", "waist", "chest")
        )
        across = s["shoulder breadth"]
        ribs = _CHEST_OVER_RIBS * s["chest breadth"]
        hips, deep_hip = 0.965 * s["hip breadth"], s["hip depth"]
        seat_y, waist_y, chest_y, shoulder_y, neck_y = back.values()
        rows = [
            # height, half breadth, back y, front y, how square
            (crotch - 20 * u, 0.36 * hips, seat_y - 60 * u, seat_y - deep_hip + 36 * u, 2.1),
            (crotch + 12 * u, 0.45 * hips, seat_y - 34 * u, seat_y - deep_hip + 18 * u, 2.2),
            (max(hip, crotch + 45 * u), 0.485 * hips, seat_y - seat,
             seat_y - deep_hip + 3 * u, 2.5),
            (0.55 * hip + 0.45 * waist, 0.25 * (hips + wide) - 1 * u,
             0.5 * (seat_y + waist_y) + 2 * u,
             0.5 * (seat_y - deep_hip + waist_y - deep) - 2 * u, 2.4),
            (waist, 0.5 * wide, waist_y, waist_y - deep, 2.35),
            (0.55 * waist + 0.45 * chest, 0.235 * (wide + ribs), 0.5 * (waist_y + chest_y) + 3 * u,
             chest_y - 0.5 * (deep + s["chest depth"]) + 0.3 * bust, 2.4),
            (chest, 0.5 * ribs, chest_y, chest_y - s["chest depth"] + bust, 2.7),
            (0.5 * (chest + shoulder), 0.415 * across, chest_y,
             chest_y - 0.84 * s["chest depth"] + 0.7 * bust, 2.45),
            (shoulder - 32 * u, 0.405 * across, shoulder_y,
             shoulder_y - 0.61 * s["chest depth"], 2.3),
            (shoulder + 0.04 * slope, 0.35 * across, shoulder_y - 4 * u, neck_y - 2.03 * neck, 2.2),
            (shoulder + 0.24 * slope, 0.24 * across, shoulder_y - 10 * u,
             neck_y - 1.95 * neck, 2.1),
            (shoulder + 0.46 * slope, 0.97 * neck, neck_y + 8 * u, neck_y - 1.9 * neck, 2.0),
            (shoulder + 0.75 * slope, 0.84 * neck, neck_y - 1 * u, neck_y - 1.85 * neck, 2.0),
            (top + 0.05 * slope, 0.76 * neck, neck_y - 8 * u, neck_y - 1.8 * neck, 2.0),
            (top + 0.5 * slope, 0.5 * neck, neck_y - 36 * u, neck_y - 1.7 * neck, 2.0),
        ]  # fmt: skip
        table = np.array(rows)
        level = np.clip(z, table[0, 0], table[-1, 0])
        breadth, behind, front, square = (
            PchipInterpolator(table[:, 0], table[:, k])(level) for k in (1, 2, 3, 4)
        )
        middle = 0.5 * (behind + front)
        v = y - middle
        gauge = ((x / breadth) ** square + (np.abs(v) / (behind - middle)) ** square) ** (
            1.0 / square
        )
        radius = np.hypot(x, v)
        round_about: Floats = np.where(
            gauge > 1e-6, radius - radius / np.maximum(gauge, 1e-6), -breadth
        )
        facing = 0.5 * (1.0 + np.tanh(-v / (18.0 * u)))
        breast = bust * mound(x - 0.29 * s["chest breadth"], 46 * u, 48 * u)
        breast = breast * mound(z - chest, 42 * u, 62 * u)
        seats = seat * mound(x - 76 * u, 46 * u, 48 * u) * mound(z - hip, 52 * u, 66 * u)
        hollow = 7 * u * mound(x, 15 * u, 15 * u) * mound(z - waist - 60 * u, 110 * u, 130 * u)
        groove = 12 * u * mound(x, 12 * u, 12 * u) * mound(z - crotch, 40 * u, 50 * u)
        relief = facing * breast + (1.0 - facing) * (seats - hollow - groove)
        shape: Floats = round_about - relief
        shape = cut(shape, z - table[-1, 0], 12.0 * u)
        return cut(shape, (crotch - 4 * u) - z, 24.0 * u)

    def _bust_mm(self) -> float:
        """How far the breasts stand out: what the chest has beyond its breadth and the waist."""
        s = self.s
        fuller = s["chest depth"] / s["chest breadth"]
        return float(np.clip(60.0 * (fuller - 0.68), 8.0, 30.0)) * self.unit

    def _neck(self, p: Floats) -> Floats:
        s, u = self.s, self.unit
        radius = s["neck"] / (2 * np.pi)
        base = self._back()["neck height"] - 1.05 * radius
        low = np.array([0.0, base, s["neck height"] - 40 * u])
        high = np.array([0.0, base - 38 * u, s["neck height"] + 95 * u])
        return round_limb(p, low, high, [(0.0, 1.08 * radius), (0.5, radius), (1.0, 0.99 * radius)])

    def _head(self, p: Floats) -> Floats:
        s, u = self.s, self.unit
        length, breadth, top = s["head length"], s["head breadth"], s["stature"]
        # Proportions of a grown-up's head to its own length; children's differ.
        middle = self._back()["neck height"] - 0.50 * length
        long = length / 197.0
        skull = ellipsoid(
            p, (0, middle, top - 96 * long), (0.522 * breadth, 0.518 * length, 96 * long)
        )
        face = ellipsoid(
            p, (0, middle - 28 * long, top - 142 * long), (0.43 * breadth, 66 * long, 86 * long)
        )
        nose = ellipsoid(p, (0, middle - 0.485 * length, top - 142 * long), (9 * u, 15 * u, 22 * u))
        return joined(joined(skull, face, 22 * u), nose, 9 * u)

    def _arm(self, p: Floats) -> Floats:
        s, u = self.s, self.unit
        upper, lower, wrist = (s[name] / (2 * np.pi) for name in ("upper arm", "forearm", "wrist"))
        arm = round_limb(
            p,
            self.shoulder,
            self.elbow,
            [(0.0, 1.12 * upper), (0.3, 0.99 * upper), (0.6, 0.98 * upper), (0.85, 0.84 * upper),
             (1.0, 0.5 * (0.80 * upper + 0.94 * lower))],
        )  # fmt: skip
        fore = round_limb(
            p,
            self.elbow,
            self.wrist,
            [(0.0, 0.5 * (0.80 * upper + 0.94 * lower)), (0.2, 0.98 * lower), (0.5, 0.84 * lower),
             (0.8, 0.5 * (wrist + 0.72 * lower)), (1.0, wrist)],
        )  # fmt: skip
        return joined(joined(arm, fore, 10 * u), self._hand(p), 15 * u)

    def _hand(self, p: Floats) -> Floats:
        """Palm and fingers as one mitten, its flat to the thigh, and a thumb in front."""
        s, u = self.s, self.unit
        down = self.along_forearm
        ahead = np.array([0.0, -1.0, 0.0])
        ahead = ahead - (ahead @ down) * down
        ahead /= np.linalg.norm(ahead)
        frame = np.stack([np.cross(ahead, down), ahead, down], axis=1)
        own = (p - self.wrist) @ frame
        length, breadth = s["hand length"], s["hand breadth"]
        palm = ellipsoid(own, (0, 0, 0.30 * length), (15 * u, 0.50 * breadth, 0.36 * length))
        fingers = ellipsoid(own, (0, 0, 0.66 * length), (12 * u, 0.44 * breadth, 0.35 * length))
        thumb = round_limb(
            own,
            np.array([0.0, 0.3 * breadth, 0.12 * length]),
            np.array([-4.0 * u, 0.66 * breadth, 0.5 * length]),
            [(0.0, 13 * u), (1.0, 10 * u)],
        )
        return joined(joined(palm, fingers, 14 * u), thumb, 8 * u)

    def _leg_rows(self) -> Floats:
        """(levels, 5): height, middle x, middle y, half breadth, half depth of the left leg."""
        s, u = self.s, self.unit
        crotch, knee, ankle = (s[f"{name} height"] for name in ("crotch", "knee", "ankle"))
        thigh, calf, thin = (s[name] / (2 * np.pi) for name in ("thigh", "calf", "ankle"))
        joint = 0.5 * (0.62 * thigh + 0.98 * calf)
        top = 0.92 * thigh + 9.0 * u  # middle of a thigh that just clears the other
        seat = self._back()["hip height"]
        under = seat - 1.12 * thigh
        rows = [
            (0.55 * ankle, top + 52 * u, 28 * u, 1.06 * thin, 1.30 * thin),
            (ankle, top + 50 * u, 27 * u, 1.00 * thin, 1.14 * thin),
            (ankle + 0.12 * (knee - ankle), top + 48 * u, 25 * u, 0.92 * thin, 1.08 * thin),
            (ankle + 0.38 * (knee - ankle), top + 43 * u, 20 * u, 0.80 * calf, 0.86 * calf),
            (ankle + 0.66 * (knee - ankle), top + 36 * u, 15 * u, 0.98 * calf, 1.02 * calf),
            (ankle + 0.86 * (knee - ankle), top + 29 * u, 7 * u, 0.91 * calf, 0.95 * calf),
            (knee, top + 25 * u, 0.0, 0.97 * joint, 1.05 * joint),
            (knee + 0.2 * (crotch - knee), top + 19 * u, 0.0, 0.70 * thigh, 0.76 * thigh),
            (knee + 0.6 * (crotch - knee), top + 8 * u, 0.35 * under, 0.85 * thigh, 0.93 * thigh),
            (crotch - 22 * u, top, 0.9 * under, 0.91 * thigh, 1.08 * thigh),
            (crotch + 50 * u, top - 10 * u, under, 0.86 * thigh, 1.06 * thigh),
            (crotch + 120 * u, top - 26 * u, under, 0.70 * thigh, 0.85 * thigh),
        ]
        return np.array(rows)

    def _leg(self, p: Floats) -> Floats:
        u = self.unit
        x, y, z = np.moveaxis(p, -1, 0)
        table = self._leg_rows()
        level = np.clip(z, table[0, 0], table[-1, 0])
        middle_x, middle_y, breadth, depth = (
            PchipInterpolator(table[:, 0], table[:, k])(level) for k in (1, 2, 3, 4)
        )
        gauge = np.sqrt(((x - middle_x) / breadth) ** 2 + ((y - middle_y) / depth) ** 2)
        shaft = (gauge - 1.0) * np.minimum(breadth, depth)
        shaft = cut(shaft, z - table[-1, 0], 50.0 * u)
        shaft = cut(shaft, table[0, 0] - z, 10.0 * u)
        return joined(shaft, self._foot(p, table[1]), 26 * u)

    def _foot(self, p: Floats, ankle: Floats) -> Floats:
        s, u = self.s, self.unit
        length, breadth = s["foot length"], s["foot breadth"]
        out = np.radians(7.0)
        ahead = np.array([np.sin(out), -np.cos(out), 0.0])
        heel_end = np.array([ankle[1], ankle[2], 0.0]) - 0.225 * length * ahead
        frame = np.stack([np.cross(ahead, [0.0, 0.0, 1.0]), ahead, [0.0, 0.0, 1.0]], axis=1)
        own = (p - heel_end) @ frame
        heel = ellipsoid(own, (0, 0.15 * length, 26 * u), (0.34 * breadth, 0.15 * length, 40 * u))
        ball = ellipsoid(own, (0, 0.60 * length, 14 * u), (0.50 * breadth, 0.395 * length, 32 * u))
        instep = round_limb(
            own,
            np.array([0.0, 0.27 * length, 0.9 * ankle[0]]),
            np.array([0.0, 0.66 * length, 20 * u]),
            [(0.0, 0.32 * breadth), (1.0, 0.26 * breadth)],
        )
        return joined(joined(heel, ball, 22 * u), instep, 18 * u)
