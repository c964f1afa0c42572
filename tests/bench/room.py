"""What drawing by hand costs: from a click to the drawn line, and what an idle page takes.

Run ``python -m tests.bench.room`` on an otherwise idle machine. Prints wall milliseconds in a real
browser with graphics in software, the time of a frame apart, at some 100,000 triangles; and the
processor share of browser and room while nobody does anything.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.body.body_of_mesh import body_of_mesh
from fitkit.job.body_files import body_files
from fitkit.job.job_folder import create_job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.workflow.design_view import redrawn_lines, view_lines, view_patches
from fitkit.workflow.draw_line import drawn_row
from fitkit.workflow.pick_place import Ray, pick, place_of
from tests.room.browser import launched_browser, open_room_of, watched_page
from tests.truth.mannequin import mannequin

TEXT = 'format = 1\n\n[job]\nname = "Heron Warden"\n'
VIEW = "document.querySelector('.fk-view').view"
IDLE_S = 20.0
_LINES = 16
# Notes when the pointer was lifted, when the line came, and how long frames take.
_WATCH = f"""() => {{
  const view = {VIEW};
  window.came = [];
  const put = view.putLine.bind(view);
  view.putLine = (line) => {{ put(line); window.came.push([line.name, performance.now()]); }};
  document.addEventListener('pointerup', () => {{ window.lifted = performance.now(); }}, true);
}}"""
_FRAME = f"""() => {{
  const {{ renderer, scene, camera }} = {VIEW};
  const began = performance.now();
  for (let n = 0; n < 5; n++) renderer.render(scene, camera);
  renderer.getContext().readPixels(0, 0, 1, 1, 6408, 5121, new Uint8Array(4));
  return (performance.now() - began) / 5;
}}"""


def processor_seconds(of: set[int]) -> float:
    """Return what some processes have used so far, their threads included."""
    ticks = 0
    for pid in of:
        try:
            fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()
        except OSError:
            continue
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def below(pid: int) -> set[int]:
    """Return the processes that a process started, and theirs."""
    parents: dict[int, int] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                text = (entry / "stat").read_text(encoding="utf-8")
            except OSError:
                continue
            parents[int(entry.name)] = int(text.rsplit(")", 1)[1].split()[1])
    found = {pid}
    while more := {child for child, parent in parents.items() if parent in found} - found:
        found |= more
    return found - {pid}


def bench_laying(folder: Path) -> None:
    """Work out what lies between a click and the drawn line, in processor milliseconds."""
    view = view_lines(open_job(folder))
    rng = np.random.default_rng(2)
    spent: dict[str, list[float]] = {"pick": [], "place": [], "lay": [], "patches behind": []}
    for number in range(12):
        ends = rng.uniform([-110.0, 1000.0], [110.0, 1300.0], (2, 2))
        rays = [Ray((x, -3000.0, z), (0.0, 1.0, 0.0), 0.001) for x, z in ends]
        began = time.process_time()
        picked = [pick(view, ray) for ray in rays]
        told = time.process_time()
        places = [place_of(view, one) for one in picked if one is not None]
        laid = time.process_time()
        redrawn = redrawn_lines(view, [drawn_row(view, "line", "geodesic", places)])
        cut = time.process_time()
        view_patches(redrawn)
        marks = [began, told, laid, cut, time.process_time()]
        if number:  # the first one warms up
            for name, seconds in zip(spent, np.diff(marks), strict=True):
                spent[name].append(1e3 * float(seconds))
    told_words = ", ".join(
        f"{name} {statistics.median(row):.0f} (worst {max(row):.0f})" for name, row in spent.items()
    )
    print(f"processor ms for two clicks: {told_words}")


def bench_clicks(page: Any, folder: Path) -> None:
    """Draw line after line on a mannequin's chest and belly, by mouse and by finger in turn.

    Who draws by mouse sees how the line will run before the click; a finger shows nothing first.
    """
    rng = np.random.default_rng(1)
    page.get_by_role("button", name="Draw a line", exact=True).click()
    page.get_by_role("status").filter(has_text="where the line begins").wait_for()
    canvas = page.locator(".fk-view-canvas")
    page.evaluate(_WATCH)
    took: dict[str, list[float]] = {"mouse": [], "finger": []}
    for number in range(_LINES):
        by_mouse = number % 2 == 0
        put = page.mouse.click if by_mouse else page.touchscreen.tap
        page.get_by_role("status").filter(has_text="where the line begins").wait_for()
        canvas.scroll_into_view_if_needed()  # a click out of sight is none
        box = canvas.bounding_box()
        x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.4 * box["height"]
        by = rng.uniform(20.0, 45.0, 2) * rng.choice([-1.0, 1.0], 2)
        put(x - by[0], y - by[1])
        page.wait_for_function(f"() => 'first' in {VIEW}.state().discs")
        if by_mouse:
            page.mouse.move(x + by[0], y + by[1])
            page.wait_for_function(f"() => 'ahead 0' in {VIEW}.state().lines")
        put(x + by[0], y + by[1])
        name = "line line" if number == 0 else f"line line {number + 1}"
        page.wait_for_function(f"() => window.came.some(([name]) => name === '{name}')")
        came = page.evaluate(f"() => window.came.find(([n]) => n === '{name}')[1] - window.lifted")
        took["mouse" if by_mouse else "finger"].append(came)
        page.get_by_role("button", name="Done", exact=True).click()
        page.wait_for_timeout(1500)  # the patches follow behind
    frame = page.evaluate(_FRAME)
    lines = (folder / "job.toml").read_text(encoding="utf-8").count("[[line]]")
    first = took["mouse"].pop(0)
    told = ", ".join(
        f"by {hand} median {statistics.median(row):.0f} ms (worst {max(row):.0f})"
        for hand, row in took.items()
    )
    print(
        f"click to drawn line: {told}, the first {first:.0f} ms; {lines} lines kept; a frame in "
        f"software takes {frame:.0f} ms more"
    )


def bench_idle(page: Any) -> None:
    """Leave the page alone."""
    page.mouse.move(2, 2)
    page.wait_for_timeout(3000)
    everything = below(os.getpid())
    frames = page.evaluate(f"{VIEW}.frames")
    before, began = processor_seconds(everything), time.perf_counter()
    time.sleep(IDLE_S)
    share = (processor_seconds(everything) - before) / (time.perf_counter() - began)
    drawn = page.evaluate(f"{VIEW}.frames") - frames
    print(f"idle: {100 * share:.1f} % of one core for browser and room, {drawn} frames drawn")


def main() -> None:
    """Make a body of some 100,000 triangles, open its room, and measure."""
    body = body_of_mesh(mannequin())
    print(f"{len(body.mesh.faces)} triangles")
    with tempfile.TemporaryDirectory() as spare:
        job = create_job(Path(spare) / "heron", TEXT)
        with job.locked("bench"):
            job.keep_result("body", body_files(body), inputs={}, digests=FileDigests(job.folder))
        bench_laying(job.folder)
        with (
            launched_browser() as browser,
            open_room_of(job.folder) as address,
            watched_page(browser, address) as page,
        ):
            page.goto(f"{page.here}/lines")
            page.wait_for_function(f"() => {VIEW}?.state().meshes.body?.triangles > 1000")
            bench_clicks(page, job.folder)
            bench_idle(page)


if __name__ == "__main__":
    main()
