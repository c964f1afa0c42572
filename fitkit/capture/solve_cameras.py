"""From photos to cameras and sheets in the world: the sparse half of a scan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

from fitkit.capture.check_length import CheckLength
from fitkit.capture.lens_groups import settle_lenses
from fitkit.capture.photo import Photo
from fitkit.capture.photo_quality import poor_photos
from fitkit.capture.scale_check import hold_to_checks
from fitkit.capture.scan import SolvedCameras
from fitkit.capture.sheet_view import SheetView, view_sheets
from fitkit.capture.solve_views import solve_views
from fitkit.capture.tag_set import OUR_SHEETS, TagSet
from fitkit.capture.unread_sheets import unread_sheets
from fitkit.findings import Finding, Severity

__all__ = ["solve_cameras"]

Progress = Callable[[float, str], None]
Measure = Callable[[Photo, int, TagSet], tuple[tuple[SheetView, ...], tuple[Finding, ...]]]


def solve_cameras(
    photos: Sequence[Photo],
    *,
    printed_mm: tuple[float, float] | None = None,
    checks: Sequence[CheckLength] = (),
    tags: TagSet = OUR_SHEETS,
    measure: Measure = view_sheets,
    progress: Progress | None = None,
) -> SolvedCameras:
    """Find where each photo was taken from, in millimetres, from the marker sheets in it.

    Parameters
    ----------
    photos
        Photos of one scene, any order; at least three must share sheets.
    printed_mm
        Measured lengths of a sheet's horizontal and vertical check line; without them the
        sheets are taken to be printed true and the scale is the less certain for it.
    checks
        Distances between sheets laid by tape, to hold the scale to; see
        :func:`fitkit.capture.scale_check.hold_to_checks`.
    tags
        What to look for: fitkit's own sheets, or tags of a maker's own, anywhere.
    measure
        How the sheets in a photo are measured; one that remembers saves doing it again.
    progress
        Told how far it is.

    Raises
    ------
    PhotoError
        When fewer than three photos show sheets that connect them.
    InputError
        When ``printed_mm`` cannot be the lengths of the check lines, or a check does not say
        which sheet it means.
    """
    tell = progress or _say_nothing
    findings: list[Finding] = []
    views: list[SheetView] = []
    photos, lensless, remarks = settle_lenses(photos)
    findings.extend(remarks)
    for index, photo in enumerate(photos):
        if index in lensless:
            continue
        tell(0.8 * index / len(photos), f"looking for marker sheets in {photo.name}")
        seen, remarks = measure(photo, index, tags)
        views.extend(seen)
        findings.extend(remarks)
    tell(0.8, "adjusting cameras, lenses and sheets together")
    poor, remarks = poor_photos(photos, views)
    findings.extend(remarks)
    views = [view for view in views if view.photo not in poor]
    if not tags.ours:
        views, remarks = _seen_more_than_once(views)
        findings.extend(remarks)
    solved = solve_views(photos, views, printed_mm=printed_mm, tags=tags, earlier=findings)
    solved = hold_to_checks(solved, checks)
    solved = replace(solved, findings=(*solved.findings, *unread_sheets(solved)))
    tell(1.0, f"{len(solved.cameras)} of {len(photos)} photos solved")
    return solved


def _seen_more_than_once(
    views: Sequence[SheetView],
) -> tuple[list[SheetView], tuple[Finding, ...]]:
    """Pass over tags in one photo only: they tie nothing together and may be no tags at all."""
    photos_of = Counter(view.sheet.tag_id for view in views)
    lonely = sorted(tag_id for tag_id, count in photos_of.items() if count == 1)
    if not lonely:
        return list(views), ()
    named = ", ".join(map(str, lonely[:8])) + (", ..." if len(lonely) > 8 else "")
    return [view for view in views if photos_of[view.sheet.tag_id] > 1], (
        Finding(
            "tags-in-one-photo",
            Severity.NOTE,
            "tags",
            f"{len(lonely)} tags show in one photo only ({named}) and were passed over.",
        ),
    )


def _say_nothing(_part: float, _words: str) -> None:
    """Stand in for a progress listener."""
