"""From photos to the scan."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.errors import JobError
from fitkit.findings import Finding
from fitkit.workflow.run_step import Made, run_step, same_findings_once
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.capture.camera import Camera
    from fitkit.capture.photo import Photo
    from fitkit.capture.scan import Scan, SolvedCameras
    from fitkit.capture.tag_set import TagSet
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.settings import CaptureSection

__all__ = ["scan_facts", "scan_job", "scan_step"]


def scan_job(
    folder: Path | str,
    photos: Sequence[Path | str] = (),
    *,
    printed_mm: tuple[float, float] | None = None,
    checks: Sequence[str] = (),
    tags: str | None = None,
    side_mm: float | None = None,
    progress: Progress | None = None,
) -> tuple[StepReport, ...]:
    """Add photos to a job and make the scan and the body.

    Nothing in the job changes unless the scan succeeds. The photos are copied into
    ``photos/``; the originals are only read.

    Parameters
    ----------
    folder
        The job folder.
    photos
        Photo files or folders of them, added to those the job has.
    printed_mm
        The two check lengths as measured on the printed sheets, kept in ``job.toml``.
    checks
        Distances between two sheets laid by tape, as ``"1-5=1.84 m"``, and measures of the
        body, as ``"chest=91.2 cm"``, or ``"chest"`` to take it from the tape list; they take the
        place of those in ``job.toml``.
    tags, side_mm
        Family of a maker's own tags and the side of their black square, kept in
        ``job.toml``.

    Raises
    ------
    PhotoError
        When the photos cannot give a body.
    InputError
        When a length given cannot be one.
    JobError
        When the job is at fault or busy.
    """
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.job.made_from import FileDigests
    from fitkit.workflow.body_step import body

    with held_job(folder, "scan") as job:
        digests = FileDigests(job.folder)
        scanned = _scan(
            _told(job, printed_mm=printed_mm, checks=checks, tags=tags, side_mm=side_mm),
            photos,
            digests=digests,
            progress=part_of(progress, 0, 0.9),
        )
        # Opened again: the photos are in the job now and job.toml may have a new line.
        job = open_job(folder)
        shaped = body(job, digests=digests, progress=part_of(progress, 0.9, 1.0))
    return scanned, shaped


def scan_step(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Make the scan from the photos in the job, if it is stale. Hold the lock."""
    if not job.photo_paths():
        raise JobError(
            f"The job '{job.folder.name}' has no photos.",
            f"Give it some with: fitkit scan {job.called} PHOTOS",
        )
    report = run_step(
        job,
        "scan",
        lambda told: _scan_photos(job, job.photo_paths(), told),
        digests=digests,
        progress=progress,
    )
    return _with_facts(report, job)


def _told(
    job: Job,
    *,
    printed_mm: tuple[float, float] | None,
    checks: Sequence[str],
    tags: str | None,
    side_mm: float | None,
) -> Job:
    """Return the job with what was said on the command line written into its text."""
    from fitkit.capture.check_length import parse_check
    from fitkit.job.settings_edits import with_setting

    text = job.text
    if printed_mm is not None:
        text = with_setting(text, "capture", "printed_mm", list(printed_mm))
    if checks:
        for row in checks:
            parse_check(row)
        text = with_setting(text, "capture", "checks", list(checks))
    for word, value in (("tags", tags), ("side_mm", side_mm)):
        if value is not None:
            text = with_setting(text, "capture", word, value)
    return job if text == job.text else job.with_text(text)


def _scan(
    job: Job,
    photos: Sequence[Path | str],
    *,
    digests: FileDigests,
    progress: Progress | None,
) -> StepReport:
    originals: tuple[Path, ...] = ()
    if photos:
        from fitkit.capture.photo import find_photos

        originals = find_photos([Path(path).expanduser() for path in photos])
    with job.staged_photos(originals, digests) as staged:
        if not staged:
            report = scan_step(job, digests=digests, progress=progress)
            job.keep_text()
            return report
        inputs = job.inputs("scan", digests, photos=staged)
        started = time.perf_counter()
        paths = sorted([*job.photo_paths(), *staged.values()], key=lambda path: path.name)
        made = _scan_photos(job, paths, progress)
        seconds = time.perf_counter() - started
        # From here on the scan stands. A crash before its folder is exchanged leaves the
        # photos in place and the scan stale, which the next run makes good.
        job.keep_text()
        job.add_photos(staged)
        findings = same_findings_once(made.findings)
        record = job.keep_result(
            "scan", made.files, inputs=inputs, digests=digests, findings=findings, seconds=seconds
        )
        job.keep_digests(digests)
    report = StepReport(
        "scan",
        ran=True,
        words=f"{made.words}; {len(staged)} photos added",
        findings=findings,
        seconds=seconds,
        files=tuple(job.result_folder("scan") / name for name in record.files),
    )
    return _with_facts(report, job)


def _with_facts(report: StepReport, job: Job) -> StepReport:
    from dataclasses import replace

    return replace(report, facts=scan_facts(job.folder))


def scan_facts(folder: Path | str) -> dict[str, Any]:
    """Return how many photos and sheets the kept scan stands on, and what it says of its scale.

    Raises
    ------
    JobError
        When there is no scan, or it is damaged.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.scan_files import read_solved_cameras

    solved = read_solved_cameras(open_job(folder).result_folder("scan"))
    return {
        "photos": len(solved.cameras),
        "sheets": len(solved.sheets),
        "scale_sigma": solved.scale_sigma,
        "scale_doubts": dict(solved.scale_doubts),
        "checks": [
            {
                "between": one.check.between,
                "laid_mm": one.check.length_mm,
                "solved_mm": one.solved_mm,
                "off": one.off,
                "agrees": one.agrees,
            }
            for one in solved.checks
        ],
    }


def _scan_photos(job: Job, paths: Sequence[Path], progress: Progress | None) -> Made:
    from dataclasses import replace

    from fitkit.capture.capture_volume import default_capture_volume
    from fitkit.capture.check_length import CheckLength, parse_check
    from fitkit.capture.photo import read_photos
    from fitkit.capture.reconstruct import reconstruct
    from fitkit.capture.sheet_view import view_sheets
    from fitkit.capture.solve_cameras import solve_cameras
    from fitkit.capture.still_room import without_still_room
    from fitkit.export.scan_picture import png_of_photos
    from fitkit.job.scan_files import scan_files
    from fitkit.job.sheet_view_memory import SheetViewMemory

    settings = job.settings.capture
    memory = SheetViewMemory(job.folder, view_sheets)
    photos, unread = read_photos(
        paths, longest_px=settings.longest_px, progress=part_of(progress, 0.0, 0.06)
    )
    solved = solve_cameras(
        photos,
        printed_mm=settings.printed_mm,
        checks=[
            check for check in map(parse_check, settings.checks) if isinstance(check, CheckLength)
        ],
        tags=_tags(settings),
        measure=memory,
        progress=part_of(progress, 0.06, 0.25),
    )
    missing: tuple[Finding, ...] = tuple(f for f in unread if f not in solved.findings)
    clear, remarks = without_still_room(photos)
    solved = replace(solved, findings=(*missing, *solved.findings, *remarks))
    volume = default_capture_volume(
        solved,
        radius_mm=settings.radius_mm,
        bottom_mm=settings.bottom_mm,
        top_mm=settings.top_mm,
    )
    scan = reconstruct(clear, solved, volume, progress=part_of(progress, 0.25, 0.97))
    given = [*(photo.name for photo in photos), *(finding.where for finding in unread)]
    if progress is not None:
        progress(0.97, "drawing the report")
    report, advice = _report(photos, scan, given, settings)
    pictures = {
        "photos.png": png_of_photos(photos, solved),
        "front.png": _front_picture(paths, photos, solved),
        "report.html": report,
    }
    del photos, clear
    memory.keep()
    words = (
        f"{len(solved.cameras)} of {len(given)} photos, {len(solved.sheets)} sheets, "
        f"scale to {100 * solved.scale_sigma:.2f} %, {len(scan.cloud_mm)} points"
    )
    findings = (*solved.findings, *scan.findings, *advice)
    return Made({**scan_files(scan), **pictures}, findings, words)


def _report(
    photos: Sequence[Photo], scan: Scan, given: Sequence[str], settings: CaptureSection
) -> tuple[bytes, tuple[Finding, ...]]:
    """Return the scan's report, and what to photograph again as findings."""
    from fitkit.capture.coverage import cover_surface
    from fitkit.capture.fineness import dense_scale, expected_error
    from fitkit.capture.photo_advice import advice_findings, plan_photos
    from fitkit.export.scan_report import html_of_scan

    cameras = scan.solved.cameras
    coverage = cover_surface(scan.surface, cameras, scan.volume)
    plan = plan_photos(coverage, scan.surface, cameras)
    advice = advice_findings(plan)
    report = html_of_scan(
        photos,
        scan,
        coverage=coverage,
        plan=plan,
        expected=expected_error(scan.solved),
        dense_scale=dense_scale(cameras, scan.volume),
        given=given,
        findings=same_findings_once((*scan.solved.findings, *scan.findings, *advice)),
        printed_mm=settings.printed_mm,
    )
    return report, advice


def _tags(settings: CaptureSection) -> TagSet:
    from fitkit.capture.tag_set import OUR_SHEETS, tag_set

    if settings.tags is None or settings.side_mm is None:
        return OUR_SHEETS
    return tag_set(settings.tags, settings.side_mm)


def _front_picture(paths: Sequence[Path], photos: Sequence[Photo], solved: SolvedCameras) -> bytes:
    """Return the photo taken most nearly from the wearer's front, small, for overviews."""
    from fitkit.errors import FileError
    from fitkit.job.small_picture import small_picture, small_picture_of_grey

    def sideways(camera: Camera) -> float:
        x, y, _ = camera.centre_mm()
        return math.atan2(abs(x), -y)

    front = min(solved.cameras, key=sideways).photo
    path = next((path for path in paths if path.name == front), None)
    if path is not None:
        try:
            return small_picture(path)
        except FileError:
            pass  # what gave a photo gives a grey picture at least
    return small_picture_of_grey(next(photo.grey for photo in photos if photo.name == front))
