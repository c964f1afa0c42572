"""The marker sheets measured in each photo, kept from one scan to the next.

A photo is known by its pixels, so renamed or re-read photos and other tags never mix. All of
it may be deleted at any time: what is missing or damaged is measured again, to the same bit.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeAlias

import cv2
import numpy as np

from fitkit.capture.photo import Photo
from fitkit.capture.saddle_points import SeenSaddles
from fitkit.capture.sheet_view import SheetView
from fitkit.capture.tag_edges import EdgeStations
from fitkit.capture.tag_set import TagSet
from fitkit.findings import Finding
from fitkit.job.whole_writes import write_whole

__all__ = ["SheetViewMemory"]

# Raised when what is measured in the same pixels changes.
_FORMAT = 1
_MOST_BYTES = 50_000_000
_EDGES = ("points_mm", "pixels_px", "outward", "corners_px", "inside")

Seen: TypeAlias = tuple[tuple[SheetView, ...], tuple[Finding, ...]]


class SheetViewMemory:
    """What earlier scans of a job measured; new measurements are kept by :meth:`keep`.

    Parameters
    ----------
    job_folder
        The job's folder.
    measure
        How a photo is measured: :func:`fitkit.capture.sheet_view.view_sheets`.
    """

    def __init__(self, job_folder: Path, measure: Callable[[Photo, int, TagSet], Seen]) -> None:
        self._folder = job_folder / ".fitkit" / "sheet-views"
        self._measure = measure
        self._new: dict[str, bytes] = {}
        self.reused_n = 0

    def __call__(self, photo: Photo, index: int, tags: TagSet) -> Seen:
        """Return the sheets in a photo, as last time or measured now."""
        key = _key(photo, tags)
        try:
            seen = _seen_of(self._path(key).read_bytes(), index, tags)
        except (OSError, ValueError, KeyError, TypeError, AttributeError, EOFError):
            seen = self._measure(photo, index, tags)
            self._new[key] = _bytes_of(seen)
        else:
            self._path(key).touch()
            self.reused_n += 1
        return seen

    def keep(self) -> None:
        """Write what was measured now; forget what was used longest ago beyond 50 MB.

        A disk that takes no more costs the next scan its head start and nothing else.
        """
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            for key, content in self._new.items():
                write_whole(self._path(key), content)
            kept = sorted(self._folder.glob("*.npz"), key=lambda path: -path.stat().st_mtime)
            size = 0
            for path in kept:
                size += path.stat().st_size
                if size > _MOST_BYTES:
                    path.unlink()
        except OSError:
            return

    def _path(self, key: str) -> Path:
        return self._folder / f"{key}.npz"


def _key(photo: Photo, tags: TagSet) -> str:
    digest = hashlib.sha256(np.ascontiguousarray(photo.grey).tobytes())
    told = [_FORMAT, cv2.__version__, photo.name, photo.grey.shape, tags.family, tags.side_mm]
    digest.update(json.dumps(told).encode())
    return digest.hexdigest()[:40]


def _bytes_of(seen: Seen) -> bytes:
    views, findings = seen
    arrays: dict[str, Any] = {
        "tags": np.array([view.sheet.tag_id for view in views], dtype=np.int64),
        "blur_px": np.array([view.edges.blur_px for view in views]),
        "findings": np.array(json.dumps([finding.as_dict() for finding in findings])),
    }
    for k, view in enumerate(views):
        arrays |= {f"{k} {name}": getattr(view.edges, name) for name in _EDGES}
        arrays |= {f"{k} which": view.saddles.which, f"{k} saddles": view.saddles.pixels_px}
    stream = io.BytesIO()
    np.savez(stream, **arrays)
    return stream.getvalue()


def _seen_of(content: bytes, index: int, tags: TagSet) -> Seen:
    with np.load(io.BytesIO(content), allow_pickle=False) as arrays:
        findings = tuple(Finding.from_dict(row) for row in json.loads(str(arrays["findings"][()])))
        views = []
        for k, (tag_id, blur_px) in enumerate(
            zip(arrays["tags"].tolist(), arrays["blur_px"].tolist(), strict=True)
        ):
            sheet = tags.sheet_of_tag(tag_id)
            if sheet is None:
                raise ValueError(tag_id)
            points_mm, pixels_px, outward, corners_px, inside = (
                arrays[f"{k} {name}"] for name in _EDGES
            )
            edges = EdgeStations(points_mm, pixels_px, outward, corners_px, blur_px, inside)
            saddles = SeenSaddles(arrays[f"{k} which"], arrays[f"{k} saddles"])
            views.append(SheetView(index, sheet, edges, saddles))
    return tuple(views), findings
