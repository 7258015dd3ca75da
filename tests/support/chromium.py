"""A browser for tests of pages, and the watch over what must not happen on one."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or "chromium"
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


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

    def note(text: str) -> None:
        if not any(one in text for one in allowed):
            bad.append(text)

    def abroad(route) -> None:
        note(f"request to {route.request.url}")
        route.abort()

    def follow(page) -> None:
        page.on("console", lambda message: message.type == "error" and note(message.text))
        page.on("response", lambda answer: answer.status >= 400 and note(f"{answer.status} {answer.url}"))
        page.on("pageerror", lambda error: note(str(error)))

    context.on("page", follow)
    context.route(re.compile(r"^https?://(?!127\.0\.0\.1)"), abroad)
    return bad


def drawn(page) -> None:
    """Wait until the page has been laid out and drawn twice since now."""
    page.evaluate("() => new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)))")
