"""The camera plan: where the photos were taken from, seen from above and from the side."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.photo_advice import PhotoAdvice
from fitkit.capture.scan import Scan
from fitkit.errors import InputError
from fitkit.export.lettering import font_px, write_with_halo
from fitkit.geometry.arrays import Floats

__all__ = ["png_of_camera_plan"]

_GROUND = (250, 250, 248)
_INK = (50, 50, 50)
_FAINT = (200, 200, 196)
_BODY = (196, 186, 174)
_SHEET = (0, 120, 88)
_CAMERA = (0, 114, 178)
_WANTED = (190, 60, 0)
_RIM_PX = 46
_FINER = 2


def png_of_camera_plan(
    scan: Scan, *, advice: Sequence[PhotoAdvice] = (), panel_px: int = 640
) -> bytes:
    """Return the plan from above and the view from the wearer's left, side by side, to one scale.

    Cameras are numbered in the order of the scan, each with the start of its line of sight;
    photos that are wanted are drawn dashed. From above the wearer faces down the page.

    Parameters
    ----------
    scan
        Cameras, sheets, surface and the column that was searched.
    advice
        Photos that would help, if any.
    panel_px
        Width of each of the two panels.

    Raises
    ------
    InputError
        When no camera was solved.
    """
    from PIL import Image, ImageDraw

    if not scan.solved.cameras:
        raise InputError("There is no camera to draw.", "Scan the photos first.")
    plans = [_Plan(scan, advice, across, up) for across, up in ((0, 1), (1, 2))]
    span = max(plan.width_mm for plan in plans)
    px_per_mm = (panel_px - 2 * _RIM_PX) / span
    heads = (
        "from above (the wearer faces down the page)",
        "from the wearer's left (the wearer faces left)",
    )
    panels = [plan.drawn(px_per_mm, panel_px) for plan in plans]
    height = max(panel.height for panel in panels)
    sheet = Image.new("RGB", (len(panels) * panel_px, height), _GROUND)
    pen = ImageDraw.Draw(sheet)
    for index, (panel, head) in enumerate(zip(panels, heads, strict=True)):
        sheet.paste(panel, (index * panel_px, height - panel.height))
        pen.text((index * panel_px + 14, 8), head, font=font_px(17), fill=_INK)
    buffer = io.BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()


class _Plan:
    """One projection along a world axis: ``across`` to the right, ``up`` up the page."""

    def __init__(self, scan: Scan, advice: Sequence[PhotoAdvice], across: int, up: int) -> None:
        self._scan, self._advice = scan, advice
        self._axes = [across, up]
        self._from_above = up == 1
        volume = scan.volume
        centre = np.array([volume.centre_x_mm, volume.centre_y_mm])
        rim = [[*(centre - volume.radius_mm), 0.0], [*(centre + volume.radius_mm), 0.0]]
        around = np.vstack(
            [
                [camera.centre_mm() for camera in scan.solved.cameras],
                *[one.camera_mm[None] for one in advice],
                *[sheet[None].reshape(-1, 3) for sheet in self._sheets().values()],
                scan.surface.bounds_mm(),
                rim,
            ]
        )
        flat = around[:, self._axes]
        self._low, self._high = flat.min(axis=0), flat.max(axis=0)

    @property
    def width_mm(self) -> float:
        return float(self._high[0] - self._low[0])

    def drawn(self, px_per_mm: float, width_px: int) -> Any:
        from PIL import Image, ImageDraw

        high = self._high[1] - self._low[1]
        height_px = round(high * px_per_mm) + 2 * _RIM_PX + 30
        self._scale = px_per_mm * _FINER
        middle = 0.5 * (self._low[0] + self._high[0])
        self._left = middle - 0.5 * width_px / px_per_mm
        self._top = self._high[1] + (_RIM_PX + 20) / px_per_mm
        picture = Image.new("RGB", (width_px * _FINER, height_px * _FINER), _GROUND)
        pen = ImageDraw.Draw(picture)
        self._draw_column(pen)
        self._draw_body(picture)
        for corners in self._sheets().values():
            self._draw_sheet(pen, corners)
        self._draw_rays(pen)
        picture = picture.resize((width_px, height_px), Image.Resampling.LANCZOS)
        pen = ImageDraw.Draw(picture)
        self._scale = px_per_mm
        self._write(pen, picture.size)
        return picture

    def _sheets(self) -> dict[int, Floats]:
        """Corners, (4, 3) mm world, by tag id."""
        corners = {}
        for solved in self._scan.solved.sheets:
            sheet = solved.sheet()
            if isinstance(sheet, MarkerSheet):
                size = (sheet.paper.width_mm, sheet.paper.height_mm)
            else:
                side_mm = sheet.tag_side_mm if sheet is not None else 100.0
                size = (side_mm, side_mm)
            flat = 0.5 * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * [*size, 0]
            corners[solved.tag_id] = solved.world_from_sheet.apply(flat)
        return corners

    def _px(self, points_mm: Floats) -> list[tuple[float, float]]:
        flat = np.atleast_2d(points_mm)[:, self._axes]
        x = (flat[:, 0] - self._left) * self._scale
        y = (self._top - flat[:, 1]) * self._scale
        return list(zip(x.tolist(), y.tolist(), strict=True))

    def _draw_column(self, pen: Any) -> None:
        volume = self._scan.volume
        centre = np.array([volume.centre_x_mm, volume.centre_y_mm])
        low = np.array([*(centre - volume.radius_mm), volume.bottom_mm])
        high = np.array([*(centre + volume.radius_mm), volume.top_mm])
        (x0, y1), (x1, y0) = self._px(low)[0], self._px(high)[0]
        if self._from_above:
            pen.ellipse((x0, y0, x1, y1), outline=_FAINT, width=2 * _FINER)
            return
        y0 = max(y0, 0.0)
        pen.rectangle((x0, y0, x1, y1), outline=_FAINT, width=2 * _FINER)
        floor = self._px(np.array([[0.0, 0.0, 0.0]]))[0][1]
        pen.line([(0, floor), (1e5, floor)], fill=_INK, width=_FINER)

    def _draw_body(self, picture: Any) -> None:
        """Fill the body's outline: its vertices as coarse pixels, grown until they join."""
        from PIL import Image, ImageFilter

        width, height = picture.width // _FINER, picture.height // _FINER
        at = np.floor(np.array(self._px(self._scan.surface.vertices)) / _FINER).astype(int)
        inside = ((at >= 0) & (at < (width, height))).all(axis=1)
        mask = np.zeros((height, width), dtype=np.uint8)
        mask[at[inside, 1], at[inside, 0]] = 255
        grown = Image.fromarray(mask).filter(ImageFilter.MaxFilter(3)).resize(picture.size)
        picture.paste(Image.new("RGB", picture.size, _BODY), (0, 0), grown)

    def _draw_sheet(self, pen: Any, corners: Floats) -> None:
        outline = self._px(corners)
        pen.line([*outline, outline[0]], fill=_SHEET, width=2 * _FINER)

    def _draw_rays(self, pen: Any) -> None:
        size = 5 * _FINER
        for camera in self._scan.solved.cameras:
            centre = camera.centre_mm()
            axis = camera.camera_from_world.rotation[2]
            reach = 0.28 * np.linalg.norm(centre - self._scan.surface.bounds_mm().mean(axis=0))
            ends = self._px(np.stack([centre, centre + reach * axis]))
            pen.line(ends, fill=_CAMERA, width=_FINER)
            x, y = ends[0]
            pen.ellipse((x - size, y - size, x + size, y + size), fill=_CAMERA)
        for one in self._advice:
            (x, y), aim = self._px(np.stack([one.camera_mm, one.target_mm]))
            for start in np.arange(0.0, 1.0, 0.08):
                ends = [
                    (x + part * (aim[0] - x), y + part * (aim[1] - y))
                    for part in (start, min(start + 0.045, 1.0))
                ]
                pen.line(ends, fill=_WANTED, width=2 * _FINER)
            r = 1.5 * size
            pen.ellipse(
                (x - r, y - r, x + r, y + r), fill=_GROUND, outline=_WANTED, width=2 * _FINER
            )

    def _write(self, pen: Any, size: tuple[int, int]) -> None:
        middle = self._scan.surface.bounds_mm().mean(axis=0)
        sheets = {solved.tag_id: solved.sheet() for solved in self._scan.solved.sheets}
        for tag_id, corners in self._sheets().items():
            sheet = sheets[tag_id]
            name = str(sheet.number) if sheet is not None else str(tag_id)
            if self._from_above:
                at = self._px(corners.mean(axis=0))[0]
                write_with_halo(pen, at, name, size_px=14, ink=_SHEET, anchor="mm")
        written: list[tuple[float, float]] = []
        for number, camera in enumerate(self._scan.solved.cameras, start=1):
            away = camera.centre_mm() - middle
            flat = away[self._axes] * np.array([1.0, -1.0])
            flat /= max(float(np.linalg.norm(flat)), 1e-9)
            x, y = self._px(camera.centre_mm())[0]
            at = (x + 14 * float(flat[0]), y + 14 * float(flat[1]))
            # From the side cameras hide each other: a number that would cover one is left out.
            if any(abs(at[0] - u) < 17 and abs(at[1] - v) < 13 for u, v in written):
                continue
            written.append(at)
            write_with_halo(pen, at, str(number), size_px=12, ink=_CAMERA, anchor="mm")
        self._scale_bar(pen, size)

    def _scale_bar(self, pen: Any, size: tuple[int, int]) -> None:
        steps = (50, 100, 200, 500, 1000)
        length = max((s for s in steps if s * self._scale < 0.25 * size[0]), default=steps[0])
        y, x0 = size[1] - 26, 16.0
        x1 = x0 + length * self._scale
        pen.line([(x0, y), (x1, y)], fill=_INK, width=2)
        for x in (x0, x1):
            pen.line([(x, y - 5), (x, y + 5)], fill=_INK, width=2)
        words = f"{length / 10:g} cm"
        pen.text((x1 + 8, y), words, font=font_px(14), fill=_INK, anchor="lm")
