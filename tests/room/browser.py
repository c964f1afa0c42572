"""A real browser on a real room: started as a maker starts it, watched for anything amiss."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

__all__ = [
    "at_rest",
    "browser_path",
    "launched_browser",
    "open_room_of",
    "spot",
    "waits_until",
    "watched_page",
]

# A browser without a graphics card or a network of its own, in a container too.
_FLAGS = [
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
]
_START = "from fitkit.cli import main; main()"
# Where a point is on the screen, once the view has come to rest there.
_SPOT = """async (point) => {
  const { view } = document.querySelector(".fk-view");
  view.canvas.scrollIntoView({ block: "nearest" });
  const frame = () => new Promise(requestAnimationFrame);
  const seen = () => {
    const { x, y } = view.canvas.getBoundingClientRect();
    const [right, down] = view.project(point);
    return [x + right, y + down];
  };
  let [now, still] = [seen(), 0];
  while (still < 2) {
    await frame();
    const next = seen();
    still = Math.hypot(next[0] - now[0], next[1] - now[1]) < 0.1 ? still + 1 : 0;
    now = next;
  }
  return now;
}"""

# How many frames the view has drawn, once it drew none while the page could have drawn thirty.
_AT_REST = """async () => {
  const { view } = document.querySelector(".fk-view");
  let [still, drawn] = [0, -1];
  while (still < 30) {
    await new Promise(requestAnimationFrame);
    still = view.frames === drawn ? still + 1 : 0;
    drawn = view.frames;
  }
  return drawn;
}"""


def browser_path() -> str:
    """Return where a Chromium is; the test is skipped where there is none."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    pytest.skip("no Chromium on this machine (.ci/system-packages installs one)")


@contextmanager
def launched_browser() -> Iterator[Any]:
    """Yield a browser for the length of the block."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = browser_path()
    with playwright.sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=path, args=_FLAGS, timeout=60_000)
        yield browser
        browser.close()


@contextmanager
def open_room_of(job: Path | None, *, shelf: Path | None = None) -> Iterator[str]:
    """Open the room of a job in a process of its own and yield the address to enter by.

    Without a job, the room is that of the jobs in the folder ``shelf``.
    """
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST_", "NICEGUI_"))}
    # To a file: a pipe that nobody reads while the room is open fills up and stops the room.
    with tempfile.NamedTemporaryFile("w") as said:
        process = subprocess.Popen(
            [sys.executable, "-c", _START, "room", *([str(job)] if job else []), "--no-browser"],
            cwd=shelf,
            stdout=said,
            stderr=subprocess.STDOUT,
            env={**kept, "PYTHONUNBUFFERED": "1", "PYTHONPATH": os.pathsep.join(sys.path)},
        )

        def told() -> str:
            return Path(said.name).read_text(encoding="utf-8")

        try:
            while not (found := re.search(r"http://\S+", told())):
                assert process.poll() is None, f"the room did not open: {told()}"
                time.sleep(0.1)
            yield found.group(0)
        finally:
            process.terminate()
            process.wait(timeout=20)
        assert "Traceback" not in told(), told()


@contextmanager
def watched_page(browser: Any, address: str, **context: Any) -> Iterator[Any]:
    """Yield a page that entered the room; a console error or a request elsewhere fails the test."""
    here = re.match(r"http://[^/]+", address).group(0)  # type: ignore[union-attr]
    settings = {"viewport": {"width": 900, "height": 640}, "has_touch": True, **context}
    opened = browser.new_context(**settings)
    page = opened.new_page()
    page.set_default_timeout(60_000)
    amiss: list[str] = []
    allowed = (f"{here}/", "data:", "blob:", here.replace("http", "ws") + "/")
    page.on("pageerror", lambda error: amiss.append(str(error)))
    page.on("console", lambda m: amiss.append(m.text) if m.type in ("error", "warning") else None)
    page.on("request", lambda r: None if r.url.startswith(allowed) else amiss.append(r.url))
    page.goto(address)
    page.wait_for_url(lambda url: "/enter/" not in url)
    page.here = here
    yield page
    opened.close()
    assert not amiss, amiss


def spot(page: Any, point: tuple[float, float, float]) -> tuple[float, float]:
    """Return where on the screen a point (3,) mm of the view's scene is, once it stays there."""
    x, y = page.evaluate(_SPOT, list(point))
    return x, y


def at_rest(page: Any) -> int:
    """Return how many frames the view has drawn once it has drawn none for a while."""
    frames: int = page.evaluate(_AT_REST)
    return frames


def waits_until(page: Any, holds: Callable[[], bool]) -> None:
    """Wait until something outside the page holds."""
    for _ in range(1200):
        if holds():
            return
        page.wait_for_timeout(50)
    raise AssertionError("it did not come about")
