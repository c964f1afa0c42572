"""The scan report: one page that says how far to trust a scan, to read and to print."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

import numpy as np

from fitkit.capture.coverage import LEAST_VIEWS, Coverage
from fitkit.capture.fineness import ExpectedError
from fitkit.capture.photo import Photo
from fitkit.capture.photo_advice import PhotoPlan
from fitkit.capture.scan import Scan, SolvedCameras
from fitkit.capture.tag_set import OUR_SHEETS
from fitkit.export.camera_plan_picture import png_of_camera_plan
from fitkit.export.report_page import Figure, page
from fitkit.export.scan_picture import png_of_photo
from fitkit.export.surface_map_picture import SurfaceMap, pngs_of_surface_maps
from fitkit.findings import Finding, Severity

__all__ = ["html_of_scan"]

_SEVERITY_WORDS = {
    Severity.STOP: "Stop",
    Severity.WARNING: "Look at this",
    Severity.NOTE: "Note",
}
# Distance to what was measured, in cells of the point cloud's grid (3 mm on a body).
_NEAR_MM, _GAP_MM, _BRIDGED_MM = 4.0, 8.0, 12.0


def html_of_scan(
    photos: Sequence[Photo],
    scan: Scan,
    *,
    coverage: Coverage,
    plan: PhotoPlan,
    expected: ExpectedError,
    dense_scale: float = 1.0,
    given: Sequence[str] = (),
    findings: Sequence[Finding] = (),
    printed_mm: tuple[float, float] | None = None,
    name: str = "",
) -> bytes:
    """Return the report as one HTML file with its pictures inside.

    Parameters
    ----------
    photos
        As read.
    scan
        What they gave.
    coverage, plan, expected
        How the photos cover the surface, what to photograph again, what to expect.
    dense_scale
        By which the lengths of the dense step shrank.
    given
        Names of all photo files, unreadable ones included; by default those of ``photos``.
    findings
        All that was noticed.
    printed_mm
        Measured check lengths of the printed sheets, or None.
    name
        What the report is about, for its title.
    """
    solved = scan.solved
    names = list(given) or [photo.name for photo in photos]
    title = f"Scan report: {name}" if name else "Scan report"
    standing = {finding.severity for finding in findings}
    if Severity.STOP in standing:
        verdict = "Do not build from this scan yet: a stop stands below."
    elif Severity.WARNING in standing:
        verdict = "Read what is marked below before you cut."
    else:
        verdict = "Nothing stands against building from this scan."
    used = f"{len(solved.cameras)} of {len(names)}"
    wanting = 100.0 * plan.wanting_share
    facts = [
        ("Photos used", used),
        ("Marker sheets placed", str(len(solved.sheets))),
        ("Marks fit the photos to", f"{solved.reprojection_rms_px:.2f} px"),
        ("Scale known to", f"± {100 * solved.scale_sigma:.2g} % (one standard deviation)"),
        ("A pixel on the surface", f"{expected.pixel_mm:.2g} mm"),
        ("Expected error where measured", f"± {expected.surface_mm:.2g} mm on the surface"),
        ("Expected error of a girth of one metre", f"± {expected.girth_mm:.2g} mm"),
        (f"Surface seen by fewer than {LEAST_VIEWS} photos", f"{wanting:.1f} %"),
    ]
    coverage_png, confidence_png = _maps(scan, coverage, dense_scale)
    sections = [
        ("", f"<p class='verdict'>{escape(verdict)}</p>{_table(facts)}"),
        ("What to photograph again", _again(plan)),
        ("What was noticed", _findings(findings)),
        ("Where the photos were taken from", _plan(scan, plan)),
        (
            "How many photos see each place",
            Figure(
                coverage_png,
                "The body from four sides, painted by how many photos see each place: "
                + _shares(coverage),
                "A place needs three photos that look at it from different sides to be measured; "
                "six or more make it sure.",
            ).html(),
        ),
        (
            "How near the surface lies to what was measured",
            Figure(
                confidence_png,
                "The body from four sides, painted by the distance to the nearest measured point",
                "Where no depth was measured the surface spans the gap and may be a centimetre or "
                "more off. Lay no seam and no edge there before more photos have been taken.",
            ).html(),
        ),
        ("Scale", _scale(scan, findings, printed_mm)),
        ("The photos", _photos(photos, scan, names, findings)),
    ]
    return page(title, sections)


def _maps(scan: Scan, coverage: Coverage, dense_scale: float) -> tuple[bytes, ...]:
    views = coverage.views_of_faces(scan.surface, scan.volume)
    cut = views < 0
    seen = np.where(cut, -1, np.digitize(-views, [-5.5, -2.5, -0.5])).astype(np.int64)
    limits = np.array([_NEAR_MM, _GAP_MM, _BRIDGED_MM]) * dense_scale
    distance = scan.surface_distance_mm[scan.surface.faces].min(axis=1)
    far = np.where(cut, -1, np.digitize(distance, limits)).astype(np.int64)
    near, gap, bridged = (f"{limit:.2g} mm" for limit in limits)
    return pngs_of_surface_maps(
        scan.surface,
        [
            SurfaceMap(seen, ("6 or more photos", "3 to 5", "1 or 2", "none")),
            SurfaceMap(
                far, (f"within {near}", f"to {gap}", f"to {bridged}", f"beyond {bridged}: spanned")
            ),
        ],
    )


def _shares(coverage: Coverage) -> str:
    views = coverage.views_n
    parts = [
        (coverage.share(views >= 6), "6 or more"),
        (coverage.share((views >= LEAST_VIEWS) & (views < 6)), "3 to 5"),
        (coverage.share((views > 0) & (views < LEAST_VIEWS)), "1 or 2"),
        (coverage.share(views == 0), "none"),
    ]
    return ", ".join(f"{100 * share:.1f} % {words}" for share, words in parts)


def _table(rows: Sequence[tuple[str, str]]) -> str:
    cells = "".join(
        f"<tr><th scope='row'>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in rows
    )
    return f"<table>{cells}</table>"


def _again(plan: PhotoPlan) -> str:
    if not plan.advice:
        words = "Nothing: every place that can be seen is in enough photos."
        body = f"<p>{words}</p>"
    else:
        rows = []
        for one in plan.advice:
            words = one.words()
            share = f"{100 * one.area_share:.1f} % of the surface"
            rows.append(f"<li>{escape(words[0].upper() + words[1:])} ({share}).</li>")
        body = (
            f"<ul class='again'>{''.join(rows)}</ul><p>Front and left are the wearer's. Keep two "
            "marker sheets in each photo, and take neighbouring photos a small step apart.</p>"
        )
    if plan.hidden_share >= 0.001:
        body += (
            f"<p>{100 * plan.hidden_share:.1f} % of the surface is hidden by the body itself; "
            "no photo from outside can show it.</p>"
        )
    return body


def _findings(findings: Sequence[Finding]) -> str:
    if not findings:
        return "<p>Nothing.</p>"
    order = list(_SEVERITY_WORDS)
    rows = []
    for one in sorted(findings, key=lambda finding: order.index(finding.severity)):
        head = f"{_SEVERITY_WORDS[one.severity]} ({one.where})" if one.where else ""
        remedy = f" <span class='remedy'>{escape(one.remedy)}</span>" if one.remedy else ""
        rows.append(
            f"<li class='{one.severity.value}'><strong>{escape(head)}</strong> "
            f"{escape(one.message)}{remedy}</li>"
        )
    return f"<ul class='findings'>{''.join(rows)}</ul>"


def _plan(scan: Scan, plan: PhotoPlan) -> str:
    volume = scan.volume
    wanted = f" and {len(plan.advice)} places for more photos" if plan.advice else ""
    return Figure(
        png_of_camera_plan(scan, advice=plan.advice),
        f"Plan from above and view from the wearer's left with {len(scan.solved.cameras)} cameras"
        f"{wanted} and {len(scan.solved.sheets)} marker sheets",
        "Blue: photos, by the numbers below. Green: marker sheets. Orange, dashed: photos that "
        "would help. Grey: the column that was searched, "
        f"{volume.radius_mm / 5:.0f} cm across, {volume.bottom_mm / 10:.1f} to "
        f"{volume.top_mm / 10:.0f} cm above the sheets.",
    ).html()


def _scale(scan: Scan, findings: Sequence[Finding], printed_mm: tuple[float, float] | None) -> str:
    solved = scan.solved
    if printed_mm is None:
        told = "not measured: the sheets were taken to be printed true"
    else:
        told = f"measured {printed_mm[0]:g} mm across and {printed_mm[1]:g} mm up"
    rows = [
        ("Check lines of the printed sheets", told),
        ("Scale known to", f"± {100 * solved.scale_sigma:.2g} % (one standard deviation)"),
        ("That is, in a girth of one metre", f"± {1000 * solved.scale_sigma:.1f} mm"),
    ]
    rows += [
        (f"Left open by: {what}", f"± {100 * sigma:.2g} %") for what, sigma in solved.scale_doubts
    ]
    for one in solved.checks:
        off = 100.0 * (one.solved_mm / one.check.length_mm - 1.0)
        agrees = "agrees" if one.agrees else "does not agree"
        rows.append(
            (
                f"Tape between sheets {one.check.between}",
                f"{one.check.length_mm:.1f} mm laid, {one.solved_mm:.1f} mm in the scan, "
                f"{off:+.2f} %: {agrees}",
            )
        )
    if not solved.checks:
        rows.append(("Independent check by tape", "none was given"))
    about = [f for f in findings if f.code.startswith(("print-", "scale-", "check-", "papers-"))]
    return _table(rows) + (_findings(about) if about else "")


def _photos(
    photos: Sequence[Photo], scan: Scan, names: Sequence[str], findings: Sequence[Finding]
) -> str:
    solved = scan.solved
    number = {camera.photo: i for i, camera in enumerate(solved.cameras, start=1)}
    cameras = {camera.photo: camera for camera in solved.cameras}
    of_name = {photo.name: photo for photo in photos}
    tags = dict(solved.tags_of_photo)
    reasons: dict[str, str] = {}
    # What is said of the photo itself comes before what is said of its lens.
    for finding in sorted(findings, key=lambda f: not f.code.startswith("photo-")):
        reasons.setdefault(finding.where, finding.message)
    known = [*names, *(photo.name for photo in photos if photo.name not in names)]
    cards = []
    for name in sorted(known, key=lambda n: (number.get(n, len(number) + 1), n)):
        photo, camera = of_name.get(name), cameras.get(name)
        seen = [_sheet_name(tag_id, solved) for tag_id in tags.get(name, ())]
        sheets = f"sheets {', '.join(seen)}" if seen else "no sheet measured"
        if camera is not None:
            head, state, kind = f"{number[name]}  {name}", "used", "used"
        else:
            reason = reasons.get(name, "No reason was noted.")
            state = reason if "left out" in reason else f"left out: {reason}"
            head, kind = name, "left"
        picture = ""
        if photo is not None:
            png = png_of_photo(photo, camera, solved.sheets)
            data = base64.b64encode(png).decode("ascii")
            alt = f"Photo {name}, {'used' if camera is not None else 'left out'}, {sheets}"
            picture = f"<img src='data:image/png;base64,{data}' alt='{escape(alt, quote=True)}'>"
        cards.append(
            f"<li class='{kind}'>{picture}<p><strong>{escape(head)}</strong><br>"
            f"{escape(state)}<br>{escape(sheets)}</p></li>"
        )
    return f"<ul class='photos'>{''.join(cards)}</ul>"


def _sheet_name(tag_id: int, solved: SolvedCameras) -> str:
    looked_for = solved.sheets[0].tags if solved.sheets else OUR_SHEETS
    sheet = looked_for.sheet_of_tag(tag_id)
    return str(sheet.number) if sheet is not None else f"tag {tag_id}"
