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


class Profile:
    """One profile for the pages of many tests; to begin a profile takes longer than to load a page.

    The pages keep nothing outside their own tab, which is seen to: a new one is as good as a new profile.
    """

    def __init__(self, browser) -> None:
        self._context = browser.new_context(reduced_motion="reduce")
        self._allowed: list[str] = []
        self._bad = watched(self._context, allowed=self._allowed)
        # Without it the window would close with a test's last page, and be made anew for the next test's.
        self._context.new_page()

    def page(self, *, size=(1440, 900), scheme="light", allowed=()):
        """Open a page; it may do what is allowed without being told of."""
        self._allowed += allowed
        page = self._context.new_page()
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.emulate_media(color_scheme=scheme)
        return page

    def clear(self) -> list[str]:
        """Close all pages; return what must not have happened on them."""
        # What comes in only because the pages are closed is none of their own.
        bad = list(self._bad)
        for page in self._context.pages[1:]:
            if page.url.startswith("http") and page.evaluate("localStorage.length + document.cookie.length"):
                bad.append(f"{page.url} keeps something in the profile")
            page.close()
        self._bad.clear()
        self._allowed.clear()
        return bad


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
