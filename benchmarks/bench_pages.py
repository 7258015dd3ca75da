"""The pages in Chromium: how soon a print's map stands and tells a value, how soon a joint follows a slider.

Times are the browser's own clock, from the event to the element's change, with drawing by software and the
server on the same processors. There is no alternative run beside them: the goals are what a hand feels.
A bench that was read already may be named in FIREDECK_BENCH; otherwise the demonstration's candidate is read.
"""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
from pathlib import Path
from typing import Any

import psutil
from playwright.sync_api import Browser, Page, sync_playwright

from benchmarks.rows import at_most
from firedeck.scenario.demo_files import write_demo
from firedeck.study.bench import Bench
from firedeck.study.prints.calibrating import calibrate_film
from firedeck.study.prints.output import write_reading
from firedeck.study.prints.reading import read_print
from tests.support import pages

__all__ = ["figures"]

ROUNDS = 5
POINTS = 20

#: Most that one open map may add to the server's memory [MB].
MEMORY_MB = 150

#: The prediction that is measured, and how long its bodies may take to be condensed [ms].
PREDICTION, CONDENSING = "prediction", 600_000

#: Notes when the first tile is there, on the clock that starts with the opening of the page.
WATCH = """
new MutationObserver((_, watch) => {
  if (!document.querySelector('.leaflet-tile-loaded')) return;
  window.firstTile = performance.now();
  watch.disconnect();
}).observe(document, { subtree: true, childList: true, attributes: true });
"""

ZOOM = """(turn) => new Promise((resolve) => {
  const map = document.getElementById('map');
  const box = map.getBoundingClientRect();
  const start = performance.now();
  map.dispatchEvent(new WheelEvent('wheel', { deltaY: turn, clientX: box.x + box.width / 3,
    clientY: box.y + box.height / 2, bubbles: true, cancelable: true }));
  const look = () => {
    const tiles = [...document.querySelectorAll('canvas.value-tile')];
    if (tiles.length && tiles.every((tile) => tile.classList.contains('leaflet-tile-loaded'))) {
      resolve(performance.now() - start);
    } else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
})"""

HOVER = """([x, y]) => new Promise((resolve) => {
  const map = document.getElementById('map');
  const shown = document.getElementById('readout');
  const box = map.getBoundingClientRect();
  const before = shown.dataset.shown;
  const start = performance.now();
  new MutationObserver((_, watch) => {
    if (shown.dataset.shown !== before) { watch.disconnect(); resolve(performance.now() - start); }
  }).observe(shown, { attributes: true });
  map.dispatchEvent(new MouseEvent('mousemove', { bubbles: true,
    clientX: box.x + x * box.width, clientY: box.y + y * box.height }));
})"""


#: From a move of a slider to the frame in which the page shows the quick answer.
SLIDE = """([where, value]) => new Promise((resolve) => {
  const root = document.getElementById('clamp');
  const slider = document.querySelector(where);
  const start = performance.now();
  new MutationObserver((_, watch) => {
    watch.disconnect();
    requestAnimationFrame(() => resolve(performance.now() - start));
  }).observe(root, { attributes: true, attributeFilter: ['data-shown'] });
  slider.value = value;
  slider.dispatchEvent(new Event('input', { bubbles: true }));
})"""

#: What is moved on the page of a predicted joint: its slider, and the values it goes through.
SLIDERS = {
    "pressure": ("#gas", [f"{8.0 + 0.2 * k:.1f}" for k in range(POINTS)]),
    "friction": ("[data-slide=thread]", [f"{0.12 + 0.002 * k:.3f}" for k in range(POINTS)]),
    "torque": ("[data-slide=stages]", [str(95 - k) for k in range(POINTS)]),
    "temperature": ("[data-slide=head]", [str(1 + k) for k in range(POINTS)]),
}


def figures() -> list[dict[str, Any]]:
    """Measure everything; one entry per figure, as `benchmarks.table.Figure` has them."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(os.environ.get("FIREDECK_BENCH") or _read(Path(scratch) / "bench"))
        test = next(one for one in Bench(folder).tests() if one.report)
        with pages.spawned(folder) as (address, server), sync_playwright() as play:
            process = psutil.Process(server.pid)
            chromium = shutil.which("chromium") or shutil.which("chromium-browser")
            browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
            # The server's own parts are in its memory before the map is.
            browser.new_page().goto(address)
            idle = process.memory_info().rss
            first, zoom, hover = _measure(browser, f"{address}/film/{test.file.stem}")
            grown = (process.memory_info().rss - idle) / 1e6
            sliders = measure_clamp(browser, f"{address}/clamp/{PREDICTION}")
            browser.close()
    return [
        _row("page of a read print: first map", statistics.median(first), 1000.0, first),
        _row("page of a read print: sharp after a zoom step", statistics.median(zoom), 250.0, zoom),
        _row("page of a read print: value under the pointer", statistics.median(hover), 60.0, hover),
        _memory(grown),
        *(
            _row(
                f"page of a predicted joint: {name} slider to repaint", statistics.median(taken), 120.0, taken
            )
            for name, taken in sliders.items()
        ),
    ]


def _read(folder: Path) -> Path:
    folder.mkdir()
    write_demo(folder)
    calibrate_film(folder / "calibration.toml")
    write_reading(read_print(folder / "candidate-print.toml"), folder / "candidate-print-report")
    return folder


def _measure(browser: Browser, address: str) -> tuple[list[float], list[float], list[float]]:
    first = []
    for _ in range(ROUNDS):
        page = _opened(browser, address)
        first.append(float(page.evaluate("window.firstTile")))
        page.context.close()
    page = _opened(browser, address)
    page.wait_for_load_state("networkidle")
    zoom = []
    for turn in [-240] * 3 + [240] * 3:
        zoom.append(float(page.evaluate(ZOOM, turn)))
        page.wait_for_load_state("networkidle")
    hover = [float(page.evaluate(HOVER, [0.3 + 0.02 * k, 0.5])) for k in range(POINTS)]
    page.context.close()
    return first, zoom, hover


def measure_clamp(browser: Browser, address: str) -> dict[str, list[float]]:
    """Measure how long a predicted joint takes to follow each of its sliders [ms]."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("#clamp[data-ready=yes], #condense:visible", timeout=CONDENSING)
    if page.locator("#condense").is_visible():
        page.locator("#condense").click()
    page.wait_for_selector("#clamp[data-ordered$=doubted]", timeout=CONDENSING)
    found = {}
    for name, (where, values) in SLIDERS.items():
        found[name] = [float(page.evaluate(SLIDE, [where, value])) for value in values]
        # The joint comes to rest before the next slider: what is worked out then is no part of this one.
        page.wait_for_selector("#clamp[data-doubted=yes]", timeout=CONDENSING)
    context.close()
    return found


def _opened(browser: Browser, address: str) -> Page:
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.add_init_script(WATCH)
    page.goto(address)
    page.wait_for_function("() => window.firstTile")
    return page


def _memory(grown: float) -> dict[str, Any]:
    name = "page of a read print: server's memory that the open map takes"
    note = "opened six times, zoomed and read, beyond what the bench page takes"
    return at_most(name, grown, "MB", MEMORY_MB, note=note)


def _row(name: str, value: float, goal: float, all_of_them: list[float]) -> dict[str, Any]:
    note = f"median of {len(all_of_them)}; worst {max(all_of_them):.0f} ms"
    return at_most(name, value, "ms", goal, note=note)
