"""A browser for tests of pages, and the watch over what must not happen on one."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import expect, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or "chromium"
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip

#: Reading a small print in a worker process that starts cold takes a while on a slow machine [ms].
PATIENCE = 120_000

# What a page does by itself comes at once, and later where other work has the processors.
expect.set_options(timeout=30_000)


@contextmanager
def browser() -> Iterator:
    """Start a browser and end it."""
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield found
        found.close()


def watched(context, *, allowed=()) -> list[str]:
    """Return a list that fills with console errors, refused answers and requests to anywhere else."""
    bad: list[str] = []
    context.on("page", lambda page: _follow(page, bad, allowed))
    _keep_home(context, bad, allowed)
    return bad


def watched_page(page, *, allowed=()) -> list[str]:
    """Return such a list for one page that is open already."""
    bad: list[str] = []
    _follow(page, bad, allowed)
    _keep_home(page, bad, allowed)
    return bad


def _keep_home(what, bad: list[str], allowed) -> None:
    def abroad(route) -> None:
        _note(f"request to {route.request.url}", bad, allowed)
        route.abort()

    what.route(re.compile(r"^https?://(?!127\.0\.0\.1)"), abroad)


def _follow(page, bad: list[str], allowed) -> None:
    def note(text: str) -> None:
        _note(text, bad, allowed)

    page.on("console", lambda message: message.type == "error" and note(message.text))
    page.on("response", lambda answer: answer.status >= 400 and note(f"{answer.status} {answer.url}"))
    page.on("pageerror", lambda error: note(str(error)))


def _note(text: str, bad: list[str], allowed) -> None:
    if not any(one in text for one in allowed):
        bad.append(text)


def covers(page, tiles: str, shape: str) -> bool:
    """Tell whether tiles lie over all of a shape that is drawn on the same map."""
    page.wait_for_load_state("networkidle")
    return page.evaluate(
        """([tiles, shape]) => { const box = (one) => one.getBoundingClientRect();
        const inner = box(document.querySelector(shape));
        const all = [...document.querySelectorAll(tiles)].map(box);
        return Math.min(...all.map((one) => one.left)) <= inner.left + 1
          && Math.max(...all.map((one) => one.right)) >= inner.right - 1
          && Math.min(...all.map((one) => one.top)) <= inner.top + 1
          && Math.max(...all.map((one) => one.bottom)) >= inner.bottom - 1; }""",
        [tiles, shape],
    )


def drag(page, points) -> None:
    """Draw with the pointer from point to point, counted from the middle of the map [screen points]."""
    box = page.locator("#map").bounding_box()
    places = [(box["x"] + box["width"] / 2 + x, box["y"] + box["height"] / 2 + y) for x, y in points]
    page.mouse.move(*places[0])
    page.mouse.down()
    for place in places[1:]:
        page.mouse.move(*place, steps=8)
    page.mouse.up()


def drawn(page) -> None:
    """Wait until the page has been laid out and drawn twice since now."""
    page.evaluate("() => new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)))")
