"""Leaving out what does not fit: sheets that moved, photos that belong elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.capture.bundle_adjustment import adjust, residuals_px
from fitkit.capture.photo_network import LensPriors, Network, Sightings
from fitkit.capture.pose_start import largest_connected
from fitkit.capture.tag_set import AnySheet
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Floats, Ints

__all__ = ["FittingNetwork", "drop_misfits"]

# A view is off beyond both: pixels that no honest measurement misses by, and a multiple of
# what is usual in these photos.
_MISFIT_PX = 1.0
_MISFIT_OF_USUAL = 6.0
# A sheet or a photo with this part of its views off is itself at fault.
_AT_FAULT = 0.34
_FEWEST_ROWS = 12


@dataclass(frozen=True, slots=True, eq=False)
class FittingNetwork:
    """What is left: network and sightings renumbered, and the former numbers of what is kept."""

    network: Network
    sightings: Sightings
    cameras: tuple[int, ...]
    sheets: tuple[int, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Views:
    """Fit of each view (one camera, one sheet): root mean square (V,) px."""

    camera: Ints
    sheet: Ints
    rms_px: Floats


def drop_misfits(
    network: Network,
    sightings: Sightings,
    priors: LensPriors,
    *,
    photo_names: Sequence[str],
    sheets: Sequence[AnySheet],
) -> FittingNetwork:
    """Leave out the worst sheet, photo or view again and again until all that is left fits.

    A sheet that was moved while the photos were taken misfits in many photos, a photo of
    another scene on all its sheets; where neither is to blame the single view goes.
    """
    findings: list[Finding] = []
    cameras, kept_sheets = list(range(len(photo_names))), list(range(len(sheets)))
    for _ in range(len(photo_names) + len(sheets)):
        views = _fit_of_views(network, sightings)
        usual = float(np.median(views.rms_px))
        limit = max(_MISFIT_PX, _MISFIT_OF_USUAL * usual)
        off = views.rms_px > limit
        if not off.any():
            break
        keep = np.ones(len(sightings), dtype=np.bool_)
        sheet, sheet_part = _most_at_fault(views.sheet, off, views.rms_px)
        camera, camera_part = _most_at_fault(views.camera, off, views.rms_px)
        if max(sheet_part, camera_part) < _AT_FAULT:
            for view in np.flatnonzero(off):
                keep &= (sightings.camera != views.camera[view]) | (
                    sightings.sheet != views.sheet[view]
                )
        elif sheet_part >= camera_part:
            keep = sightings.sheet != sheet
            worst = float(views.rms_px[views.sheet == sheet].max())
            findings.append(_sheet_finding(sheets[kept_sheets[sheet]], worst, limit))
        else:
            keep = sightings.camera != camera
            worst = float(views.rms_px[views.camera == camera].max())
            findings.append(_photo_finding(photo_names[cameras[camera]], worst, limit))
        before = set(cameras)
        blamed = None if sheet_part >= camera_part else cameras[camera]
        network, sightings, cameras, kept_sheets = _renumbered(
            network, sightings.where(keep), cameras, kept_sheets
        )
        for lost in sorted(before - set(cameras) - {blamed}):
            findings.append(
                Finding(
                    "photo-not-connected",
                    Severity.WARNING,
                    photo_names[lost],
                    f"{photo_names[lost]} was left out: without the sheets that do not fit, "
                    "nothing ties it to the other photos.",
                    "Take photos so that each shows at least two marker sheets that others "
                    "show too.",
                )
            )
        if len(cameras) < 2:
            break
        network = adjust(network, sightings, priors, huber=3.0, max_rounds=25)
    return FittingNetwork(network, sightings, tuple(cameras), tuple(kept_sheets), tuple(findings))


def _fit_of_views(network: Network, sightings: Sightings) -> _Views:
    key = sightings.camera * len(network.sheet_rotations) + sightings.sheet
    views, of_row = np.unique(key, return_inverse=True)
    squares = residuals_px(network, sightings) ** 2
    # The root of the mean would let one covered corner speak for the whole view.
    rms = np.sqrt([float(np.median(squares[of_row == view])) for view in range(len(views))])
    return _Views(
        views // len(network.sheet_rotations), views % len(network.sheet_rotations), 1.4826 * rms
    )


def _most_at_fault(owner: Ints, off: np.ndarray, rms_px: Floats) -> tuple[int, float]:
    """Return the owner with the largest part of its views off, worse fit first, and the part."""
    count = np.bincount(owner)
    part = np.bincount(owner, weights=off) / np.maximum(count, 1)
    excess = np.bincount(owner, weights=np.where(off, rms_px, 0.0)) / np.maximum(count, 1)
    worst = int(np.lexsort((excess, part))[-1])
    return worst, float(part[worst])


def _renumbered(
    network: Network, sightings: Sightings, cameras: Sequence[int], sheets: Sequence[int]
) -> tuple[Network, Sightings, list[int], list[int]]:
    """Keep what is still connected and has rows enough, numbered anew from 0."""
    rows = np.bincount(sightings.camera, minlength=len(cameras))
    sightings = sightings.where((rows >= _FEWEST_ROWS)[sightings.camera])
    joined_cameras, joined_sheets = largest_connected(
        list(zip(sightings.camera.tolist(), sightings.sheet.tolist(), strict=True))
    )
    of_camera, of_sheet = sorted(joined_cameras), sorted(joined_sheets)
    sightings = sightings.where(
        np.isin(sightings.camera, of_camera) & np.isin(sightings.sheet, of_sheet)
    )
    return (
        replace(
            network,
            lens_of_camera=network.lens_of_camera[of_camera],
            camera_rotations=network.camera_rotations[of_camera],
            camera_shifts_mm=network.camera_shifts_mm[of_camera],
            growths_px=network.growths_px[of_camera],
            sheet_rotations=network.sheet_rotations[of_sheet],
            sheet_shifts_mm=network.sheet_shifts_mm[of_sheet],
        ),
        replace(
            sightings,
            camera=np.searchsorted(of_camera, sightings.camera),
            sheet=np.searchsorted(of_sheet, sightings.sheet),
        ),
        [cameras[k] for k in of_camera],
        [sheets[k] for k in of_sheet],
    )


def _sheet_finding(sheet: AnySheet, worst_px: float, limit_px: float) -> Finding:
    return Finding(
        "sheet-misfit",
        Severity.WARNING,
        f"sheet {sheet.number}",
        f"{sheet.called[:1].upper()}{sheet.called[1:]} was left out: it is up to "
        f"{worst_px:.1f} px off where the other sheets say it lies, as if it moved or bent.",
        "Tape the sheets flat and take all photos without touching them.",
        number=round(worst_px, 2),
        limit=round(limit_px, 2),
        unit="px",
    )


def _photo_finding(name: str, worst_px: float, limit_px: float) -> Finding:
    return Finding(
        "photo-misfit",
        Severity.WARNING,
        name,
        f"{name} was left out: its marker sheets are up to {worst_px:.1f} px off where the "
        "other photos say they lie.",
        "Take it again without moving the sheets, or leave it out.",
        number=round(worst_px, 2),
        limit=round(limit_px, 2),
        unit="px",
    )
