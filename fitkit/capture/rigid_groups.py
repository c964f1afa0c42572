"""Tags that turn with the subject before a still camera, apart from those that stay in the room.

On a turntable the tags of the board tell the poses and those of the room tell nothing. Two
sheets belong to one rigid group when the distance between them is the same in every photo;
that needs no poses of cameras. The group the subject turns with is the one the camera seems
to go round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.pose_start import SeenPoints, poses_of_view
from fitkit.capture.sheet_view import SheetView
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats

__all__ = ["views_of_subject"]

# A distance from two tags' single views is good to a few percent, the guessed lens included;
# what turns changes it by the size of the board.
_APART, _APART_MM = 0.10, 25.0
_FEWEST_SHARED = 4
# One group is gone round and the others are not when their cameras spread by less than this
# part of its.
_CLEARLY_ROUND = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """One sheet in one photo: its middle in the camera, mm, and the way to the camera from it."""

    middle_mm: Floats
    way: Floats


def views_of_subject(
    photos: Sequence[Photo], views: Sequence[SheetView]
) -> tuple[list[SheetView], tuple[Finding, ...]]:
    """Return the views of those sheets that keep still against the subject.

    All, where the sheets are one rigid group, or all but single ones are: a sheet that
    somebody moved is for the adjustment to find.

    Parameters
    ----------
    photos
        All photos, for their lenses.
    views
        The sheets measured in them.
    """
    seen = _seen(photos, views)
    groups = _groups(seen)
    if len(groups) < 2:
        return list(views), ()
    spread = [float(np.median([_spread(seen[tag]) for tag in group])) for group in groups]
    best = int(np.argmax(spread))
    clear = all(
        other < _CLEARLY_ROUND * spread[best] for k, other in enumerate(spread) if k != best
    )
    if not clear:
        size = [(len(group), sum(len(seen[tag]) for tag in group)) for group in groups]
        best = max(range(len(groups)), key=lambda k: size[k])
        if all(len(group) == 1 for k, group in enumerate(groups) if k != best):
            return list(views), ()
    kept = groups[best]
    names = {view.sheet.tag_id: view.sheet.called for view in views}
    others = sorted(tag for group in groups if group is not kept for tag in group)
    findings = [_told([names[t] for t in sorted(kept)], [names[t] for t in others], clear=clear)]
    left = [view for view in views if view.sheet.tag_id not in others]
    lost = {view.photo for view in views} - {view.photo for view in left}
    findings += [_without(photos[index].name) for index in sorted(lost)]
    return left, tuple(findings)


def _seen(photos: Sequence[Photo], views: Sequence[SheetView]) -> dict[int, dict[int, _Seen]]:
    """Return by tag and photo where each sheet is from the camera, as its view alone says."""
    seen: dict[int, dict[int, _Seen]] = {}
    for view in views:
        photo = photos[view.photo]
        middle = [(photo.width_px - 1) / 2, (photo.height_px - 1) / 2]
        lens = np.array([photo.focal_px, *middle, 0.0, 0.0, 0.0, 0.0])
        poses, _ = poses_of_view(SeenPoints(view.photo, view.sheet.tag_id, *view.points()), lens)
        if poses:
            back = poses[0].inverse().translation_mm
            one = _Seen(poses[0].translation_mm, back / np.linalg.norm(back))
            seen.setdefault(view.sheet.tag_id, {})[view.photo] = one
    return seen


def _groups(seen: dict[int, dict[int, _Seen]]) -> list[list[int]]:
    """Return the tags in groups, each rigid in itself, joined from the surest pair on."""
    pairs = []
    for a, b in combinations(sorted(seen), 2):
        shared = sorted(seen[a].keys() & seen[b].keys())
        if len(shared) < _FEWEST_SHARED:
            continue
        distance = [
            float(np.linalg.norm(seen[a][k].middle_mm - seen[b][k].middle_mm)) for k in shared
        ]
        low, middle, high = np.percentile(distance, [15.0, 50.0, 85.0])
        pairs.append(((high - low) / (_APART * middle + _APART_MM), a, b))
    if all(part < 1.0 for part, _, _ in pairs):
        return [sorted(seen)]
    group_of = {tag: k for k, tag in enumerate(sorted(seen))}
    for part, a, b in sorted(pairs):
        one, other = group_of[a], group_of[b]
        if one == other or part >= 1.0:
            continue
        between = [p for p, c, d in pairs if {group_of[c], group_of[d]} == {one, other}]
        if sum(p >= 1.0 for p in between) * 2 < len(between):
            for tag, group in group_of.items():
                group_of[tag] = one if group == other else group
    found: dict[int, list[int]] = {}
    for tag, group in group_of.items():
        found.setdefault(group, []).append(tag)
    # What shares no photos with others says nothing of them and stays with the largest.
    groups = sorted(found.values(), key=lambda tags: (-len(tags), tags))
    told = {tag for _, a, b in pairs for tag in (a, b)}
    apart = [tags for tags in groups[1:] if told.intersection(tags)]
    rest = [tag for tags in groups[1:] if not told.intersection(tags) for tag in tags]
    return [sorted([*groups[0], *rest]), *apart]


def _spread(of_photo: dict[int, _Seen]) -> float:
    """Return how far round a sheet the cameras are, 0 for all on one side to 1."""
    ways = np.array([one.way for one in of_photo.values()])
    return 1.0 - float(np.linalg.norm(ways.mean(axis=0)))


def _told(kept: Sequence[str], others: Sequence[str], *, clear: bool) -> Finding:
    with_subject, apart = _named(kept), _named(others)
    if clear:
        return Finding(
            "sheets-turn",
            Severity.NOTE,
            "photos",
            f"The camera went round {with_subject} and not round {apart}: the subject turns with "
            "the former, and the latter were passed over.",
        )
    return Finding(
        "sheets-apart",
        Severity.WARNING,
        "photos",
        f"The sheets moved in groups against each other. The photos were solved on {with_subject}; "
        f"{apart} were passed over.",
        "Lay the sheets where nothing moves them against the subject: all on the floor round it, "
        "or all on the board that turns with it.",
    )


def _named(names: Sequence[str]) -> str:
    shown = [name.removeprefix("marker ") for name in names[:6]]
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return ", ".join(shown) + more


def _without(name: str) -> Finding:
    return Finding(
        "photo-not-connected",
        Severity.WARNING,
        name,
        f"{name} was left out: it shows none of the sheets that keep still against the subject.",
        "Take photos so that each shows at least two of them.",
    )
