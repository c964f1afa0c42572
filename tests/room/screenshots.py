"""Pictures of every stop for the docs: ``python -m tests.room.screenshots JOB [STOP ...]``.

Light and dark, on a tablet lying and held upright and on a laptop, of a job that is made, its
joints moved and its book bound; into ``docs/gallery/room``.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Collection
from pathlib import Path
from typing import Any

from PIL import Image

from fitkit.room.stops import STOPS
from tests.room.browser import at_rest, launched_browser, open_room_of, watched_page

GALLERY = Path(__file__).parents[2] / "docs" / "gallery" / "room"
SIZES = {
    "tablet": {"width": 1024, "height": 768},
    "upright": {"width": 768, "height": 1024},
    "laptop": {"width": 1366, "height": 768},
}
_COLOURS = 160
# A page without a view of the body, or one that shows something.
_SHOWN = """() => {
    const view = document.querySelector('.fk-view');
    return !view || Object.keys(view.view?.state().meshes ?? {}).length > 0;
}"""


def main(job: Path, wanted: Collection[str]) -> None:
    """Take all pictures, or those of some stops."""
    GALLERY.mkdir(parents=True, exist_ok=True)
    with launched_browser() as browser, open_room_of(job.resolve()) as address:
        for looks in ("light", "dark"):
            for device, size in SIZES.items():
                with watched_page(browser, address, viewport=size, color_scheme=looks) as page:
                    page.wait_for_load_state("networkidle")
                    page.goto(page.here)
                    page.get_by_role("heading", name="Jobs").wait_for()
                    _keep(page, f"jobs-{device}-{looks}")
                    for stop in STOPS:
                        if wanted and stop.name not in wanted:
                            continue
                        page.goto(f"{page.here}/{stop.name}")
                        page.wait_for_load_state("networkidle")
                        page.wait_for_function(_SHOWN, timeout=120_000)
                        if stop.name == "lines":
                            _choose_a_patch(page)
                        if page.locator(".fk-view").count():
                            at_rest(page)
                        _keep(page, f"{stop.name}-{device}-{looks}")


def _choose_a_patch(page: Any) -> None:
    """Show how a patch is told, with what is fitted to it; its plates are cut by then."""
    page.locator(".fk-choose[data-key^='patch ']").first.click()
    page.get_by_role("heading", name="Fitted to it").wait_for()
    page.get_by_role("button", name="Front", exact=True).click()
    page.evaluate("scrollTo(0, 0)")


def _keep(page: Any, name: str) -> None:
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    few = picture.quantize(_COLOURS, dither=Image.Dither.NONE)
    few.save(GALLERY / f"{name}.png", optimize=True)
    print(GALLERY / f"{name}.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
