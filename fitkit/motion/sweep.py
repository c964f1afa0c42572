"""Joints swept through a range, step by step: which plates meet what, when, where and how deep."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fitkit.errors import InputError
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.rigid import RigidTransform
from fitkit.motion.asked_range import AskedRange
from fitkit.motion.moving_skin import MovingSkin, Rides, skin_part
from fitkit.motion.pose import Pose, pose_of
from fitkit.motion.riding_plate import RidingPlate
from fitkit.motion.sheet_contact import SheetContact
from fitkit.motion.skin_body import SkinBody
from fitkit.motion.skin_contact import PosedSkin, SkinContact

__all__ = ["BODY", "Contact", "SweepSettings", "Swept", "sweep"]

BODY = "the body"
"""What a plate meets when it presses into the skin."""

_TO_RAD = np.radians(0.2)
_MOST_ROOM_MM = 15.0


@dataclass(frozen=True, slots=True)
class SweepSettings:
    """How a sweep is made.

    Attributes
    ----------
    step_rad
        The largest turn between two looks.
    tolerance_mm
        Plates may come closer than at rest by this before it counts.
    soft_mm
        How far flesh gives way under a plate before it counts as pinched. Common practice, no
        source.
    most_room_mm
        Room is told up to this; with 0 only what touches is looked for, which is quicker.
    """

    step_rad: float = float(np.radians(5.0))
    tolerance_mm: float = 0.5
    soft_mm: float = 8.0
    most_room_mm: float = _MOST_ROOM_MM

    def __post_init__(self) -> None:
        if not 0 < self.step_rad <= np.radians(15.0):
            raise InputError(
                f"A step of {np.degrees(self.step_rad):.3g} degrees cannot be swept.",
                "Give a step above 0 and up to 15 degrees.",
            )
        if self.tolerance_mm < 0 or self.soft_mm < 0:
            raise InputError(
                "The tolerance and what flesh gives cannot be below zero.",
                "Give lengths of 0 mm or more.",
            )


_USUAL = SweepSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """A plate that meets another, or the body, within a range.

    Attributes
    ----------
    plate, other
        Names; ``other`` may be :data:`BODY`.
    part
        At which part of the range, 0 to 1, they first touch.
    angle_rad
        The range's angle there.
    depth_mm
        The deepest anywhere up to the range's end, beyond what is allowed.
    at_mm
        (3,) float mm: where on the plate, at rest, they first touch.
    touched, other_touched
        (S,) bool over the places of the plate, and of the other one: those that the other gets
        into or past anywhere in the range; None where those were not followed.
    """

    plate: str
    other: str
    part: float
    angle_rad: float
    depth_mm: float
    at_mm: Floats
    touched: Bools | None = None
    other_touched: Bools | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Swept:
    """A range gone through.

    Attributes
    ----------
    asked
        The range.
    parts
        (K,) float 0..1: where was looked.
    pair_room_mm
        (K,) float mm by a plate's name and another's, or :data:`BODY`: the least room of the
        first one's places against the second at each, or where their rims met on the way there;
        below zero in contact, infinite where there is plenty.
    contacts
        The earliest first.
    """

    asked: AskedRange
    parts: Floats
    pair_room_mm: Mapping[tuple[str, str], Floats]
    contacts: tuple[Contact, ...] = ()

    @property
    def room_mm(self) -> Floats:
        """(K,) float mm: the least room anywhere; no more than 15 mm is told."""
        most = np.full(len(self.parts), _MOST_ROOM_MM)
        least: Floats = np.min([most, *self.pair_room_mm.values()], axis=0)
        return least

    def renewed(self, later: Swept, changed: Collection[str]) -> Swept:
        """Return this with all that concerns changed plates as a later sweep of them found it."""

        def same(plate: str, other: str) -> bool:
            return plate not in changed and other not in changed

        rooms = {pair: room for pair, room in self.pair_room_mm.items() if same(*pair)}
        kept = [one for one in self.contacts if same(one.plate, one.other)]
        contacts = sorted([*kept, *later.contacts], key=_order)
        return replace(self, pair_room_mm={**rooms, **later.pair_room_mm}, contacts=tuple(contacts))

    @property
    def free_rad(self) -> float:
        """The angle up to which nothing touches."""
        if self.contacts:
            return self.contacts[0].angle_rad
        return self.asked.angle_rad(1.0)


def sweep(
    body: SkinBody,
    plates: Sequence[RidingPlate],
    ranges: Sequence[AskedRange],
    settings: SweepSettings = _USUAL,
    *,
    only: Collection[tuple[str, str]] | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[Swept, ...]:
    """Take plates and skin through each range and note what meets.

    The order of the plates does not matter to what is found.

    Parameters
    ----------
    only
        Pairs of a plate's name and another's, or :data:`BODY`, to follow the first one's places
        against the second; None follows every plate against every other and the body.

    Raises
    ------
    InputError
        When two plates share a name.
    """
    names = [plate.name for plate in plates]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"Two plates are called '{name}'.", "Give each a name of its own.")
    pairs = _pairs(plates, only)

    def gone_through(asked: AskedRange) -> Swept:
        return _Sweep(body, plates, pairs, asked, settings, only).run()

    found = []
    # The look-ups are compiled and run side by side; more than two would want more memory.
    with ThreadPoolExecutor(min(2, os.cpu_count() or 1)) as both:
        for number, swept in enumerate(both.map(gone_through, ranges)):
            if progress is not None:
                progress((number + 1) / len(ranges), f"moved: {swept.asked.name}")
            found.append(swept)
    return tuple(found)


def _pairs(
    plates: Sequence[RidingPlate], only: Collection[tuple[str, str]] | None
) -> dict[tuple[str, str], SheetContact]:
    """Return every plate's places made ready against every other plate's sheet."""
    return {
        (plate.name, other.name): SheetContact(
            other.mesh,
            plate.spots_mm,
            plate.feelers_mm,
            0.5 * (plate.thickness_mm + other.thickness_mm),
        )
        for plate in plates
        for other in plates
        if plate is not other and (only is None or (plate.name, other.name) in only)
    }


@dataclass(slots=True, eq=False)
class _Follow:
    """Places of one plate followed against a sheet or the skin; what has been seen so far."""

    plate: RidingPlate
    other: RidingPlate | None
    against: Any
    track: Any
    touched: Bools
    part: float | None = None
    at: int = 0
    depth_mm: float = 0.0
    least_mm: float = np.inf
    rooms: list[float] = field(default_factory=list)


class _Sweep:
    """One range being gone through."""

    def __init__(
        self,
        body: SkinBody,
        plates: Sequence[RidingPlate],
        pairs: Mapping[tuple[str, str], SheetContact],
        asked: AskedRange,
        settings: SweepSettings,
        only: Collection[tuple[str, str]] | None,
    ) -> None:
        self._body, self._asked, self._settings = body, asked, settings
        joints = tuple(sorted({movement.joint for movement, _ in asked.movements}))
        self._poses: dict[float, Pose] = {}
        self._motions: dict[tuple[str, float], RigidTransform] = {}
        self._skins: dict[Rides, MovingSkin] = {}
        self._skin_of: dict[str, MovingSkin] = {}
        self._follows = [
            _sheet_follow(plate, other, pairs[plate.name, other.name])
            for plate in plates
            for other in plates
            if (plate.name, other.name) in pairs and not plate.goes_with(other, joints)
        ]
        for plate in plates:
            if only is not None and (plate.name, BODY) not in only:
                continue
            free = plate.pivot is not None and plate.pivot.joint in joints
            rides = None if free else tuple(plate.shares.get(joint, 0.0) for joint in joints)
            part = skin_part(body, rides, joints)
            if part is not None:
                skin = self._skins.setdefault(rides, MovingSkin(part))
                self._skin_of[plate.name] = skin
                still = skin.at(0.0, self._pose(0.0))
                self._follows.append(_skin_follow(plate, still, settings))

    def run(self) -> Swept:
        steps = max(int(np.ceil(self._asked.turn_rad / self._settings.step_rad - 1e-9)), 1)
        parts = np.linspace(0.0, 1.0, steps + 1)
        self._note_rooms()
        for before, part in zip(parts[:-1].tolist(), parts[1:].tolist(), strict=True):
            for follow in self._follows:
                self._step(follow, before, part)
            self._note_rooms()
            for skin in self._skins.values():
                skin.keep_only(part)
            self._motions = {key: one for key, one in self._motions.items() if key[1] == part}
            self._poses = {at: pose for at, pose in self._poses.items() if at == part}
        rooms = {_pair(follow): np.array(follow.rooms) for follow in self._follows}
        return Swept(self._asked, parts, rooms, tuple(self._contacts()))

    def _note_rooms(self) -> None:
        for follow in self._follows:
            follow.rooms.append(
                min(follow.least_mm, float(follow.track.room_mm.min(initial=np.inf)))
            )
            follow.least_mm = np.inf

    def _step(self, follow: _Follow, before: float, part: float) -> None:
        tolerance = self._settings.tolerance_mm
        start = follow.track
        follow.track = self._moved(follow, start, part, self._settings.most_room_mm)
        room = follow.track.room_mm
        over = room < -tolerance
        firsts = []
        if over.any():
            follow.depth_mm = max(follow.depth_mm, -float(room.min()))
            if follow.part is None:
                firsts.append(self._first(follow, start, before, part))
        if follow.other is not None:
            graze = follow.against.grazed(
                start,
                follow.track,
                lambda share: self._against(follow, before + share * (part - before)),
                tolerance,
            )
            if graze is not None:
                over |= graze.touched
                follow.least_mm = -graze.depth_mm - tolerance
                follow.depth_mm = max(follow.depth_mm, -follow.least_mm)
                firsts.append((before + graze.share * (part - before), graze.at))
        if firsts and follow.part is None:
            follow.part, follow.at = min(firsts)
        follow.touched |= over

    def _first(self, follow: _Follow, start: Any, low: float, high: float) -> tuple[float, int]:
        """Halve the step until the part at which room runs out is known to a fifth of a degree."""
        at = int(follow.track.room_mm.argmin())
        track = start
        while (high - low) * self._asked.turn_rad > _TO_RAD:
            middle = 0.5 * (low + high)
            tried = self._moved(follow, track, middle)
            if float(tried.room_mm.min()) < -self._settings.tolerance_mm:
                high, at = middle, int(tried.room_mm.argmin())
            else:
                low, track = middle, tried
        return 0.5 * (low + high), at

    def _moved(self, follow: _Follow, track: Any, part: float, most_mm: float = 0.0) -> Any:
        if follow.other is not None:
            return follow.against.moved(track, self._against(follow, part), most_mm)
        skin = self._skin_of[follow.plate.name].at(part, self._pose(part))
        moved = self._carried(follow.plate, part).apply(follow.plate.spots_mm)
        return follow.against.moved(track, moved, skin, most_mm)

    def _against(self, follow: _Follow, part: float) -> RigidTransform:
        """Return a plate's motion as seen from the other one."""
        assert follow.other is not None
        return self._carried(follow.other, part).inverse() @ self._carried(follow.plate, part)

    def _carried(self, plate: RidingPlate, part: float) -> RigidTransform:
        key = plate.name, part
        if key not in self._motions:
            self._motions[key] = plate.carried(self._pose(part))
        return self._motions[key]

    def _pose(self, part: float) -> Pose:
        if part not in self._poses:
            self._poses[part] = pose_of(self._body.joints, self._asked.turned(part))
        return self._poses[part]

    def _contacts(self) -> Iterator[Contact]:
        by_pair: dict[tuple[str, str], list[_Follow]] = {}
        for follow in self._follows:
            if follow.part is None:
                continue
            plate, other = _pair(follow)
            known = (plate, other) if other == BODY or plate < other else (other, plate)
            by_pair.setdefault(known, []).append(follow)
        everything = {_pair(follow): follow for follow in self._follows}
        contacts = []
        for (plate, other), follows in by_pair.items():
            first = min(follows, key=lambda f: (f.part, f.plate.name))
            assert first.part is not None
            own, back = everything.get((plate, other)), everything.get((other, plate))
            at = first.plate.spots_mm[first.at]
            contacts.append(
                Contact(
                    plate,
                    other,
                    first.part,
                    self._asked.angle_rad(first.part),
                    max(f.depth_mm for f in follows) - self._settings.tolerance_mm,
                    at,
                    None if own is None else own.touched,
                    None if back is None else back.touched,
                )
            )
        yield from sorted(contacts, key=_order)


def _order(contact: Contact) -> tuple[float, str, str]:
    return contact.part, contact.plate, contact.other


def _pair(follow: _Follow) -> tuple[str, str]:
    return follow.plate.name, BODY if follow.other is None else follow.other.name


def _sheet_follow(plate: RidingPlate, other: RidingPlate, against: SheetContact) -> _Follow:
    return _Follow(plate, other, against, against.rest, np.zeros(len(plate.spots_mm), dtype=bool))


def _skin_follow(plate: RidingPlate, skin: PosedSkin, settings: SweepSettings) -> _Follow:
    against = SkinContact(
        skin,
        plate.spots_mm,
        half_mm=0.5 * plate.thickness_mm,
        soft_mm=settings.soft_mm,
    )
    return _Follow(plate, None, against, against.rest, np.zeros(len(plate.spots_mm), dtype=bool))
