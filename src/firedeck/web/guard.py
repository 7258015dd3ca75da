"""What every request must be before it is listened to, and what every answer says to the browser.

The pages have no log-in. What keeps other pages out is that the server listens on the loopback
address only, answers to its own name only (a foreign name that was made to point here is refused),
and takes changes only from its own pages.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LOOPBACK_NAMES", "PAGE_POLICY", "PATIENCE", "REPORT_POLICY", "Guard"]

#: Names by which a browser may call this server.
LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")

#: Everything from this server, nothing from elsewhere, no script or style within a page.
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

#: A finished report is one file with its style and pictures within, and no script at all.
REPORT_POLICY = (
    "sandbox allow-popups allow-same-origin allow-downloads; default-src 'none'; "
    "style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

_ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}

_READING = {"GET", "HEAD"}

#: Longest wait for the next part of what is sent here [s].
PATIENCE = 20.0

#: What is sent more slowly than this over longer than that is not waited for any further [bytes/s].
_SLOWEST = 1000.0

_LOG = logging.getLogger("firedeck.web")


class Guard:
    """Refuse what does not come from this server's own pages; add the headers that keep them in.

    Parameters
    ----------
    app : ASGIApp
        What is guarded.
    names : iterable of str
        Host names answered to, without the port.
    """

    def __init__(self, app: ASGIApp, names: Iterable[str] = LOOPBACK_NAMES) -> None:
        self.app = app
        self.names = frozenset(names)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        refusal = self._refusal(scope) if scope["type"] == "http" else "only plain requests are answered"

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                _note(scope, message["status"], refusal)
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers[name] = value
                headers.setdefault("Content-Security-Policy", PAGE_POLICY)
                # What belongs to the program is kept, and asked after at every use.
                static = str(scope.get("path", "")).startswith("/static/")
                headers.setdefault("Cache-Control", "no-cache" if static else "no-store")
            await send(message)

        if refusal:
            await PlainTextResponse(f"Refused: {refusal}.\n", status_code=403)(scope, receive, send_guarded)
            return
        await self.app(scope, _impatient(scope, receive), send_guarded)

    def _refusal(self, scope: Scope) -> str:
        """Return why a request is refused; empty where it is not."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if _without_port(host) not in self.names:
            return "this server answers to its loopback name only"
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != host:
            return "the request comes from another page"
        if headers.get("sec-fetch-site", "same-origin") == "cross-site" and not _is_visit(headers):
            return "the request comes from another site"
        if scope["method"] not in _READING and origin is None:
            return "a change must say which page it comes from"
        return ""


def _note(scope: Scope, status: int, refusal: str) -> None:
    """Log a refusal in one line, in the server's own words: what was sent could forge lines."""
    if status < 400:
        return
    method = scope.get("method")
    method = method if method in ("GET", "HEAD", "POST", "PUT") else "another method"
    page = getattr(scope.get("endpoint"), "__module__", "no page")
    _LOG.warning("refused: %s, %d, %s", method, status, refusal or page)


def _impatient(scope: Scope, receive: Receive) -> Receive:
    """Return a receiver that gives up on what comes too slowly, so that nobody holds a file open for ever."""
    patience = float(scope["app"].state.patience)
    start, got, whole = time.monotonic(), 0, False

    async def receive_in_time() -> Message:
        nonlocal got, whole
        if whole:
            return await receive()
        try:
            message = await asyncio.wait_for(receive(), patience)
        except TimeoutError as fault:
            raise HTTPException(408, "what was being sent did not come") from fault
        got += len(message.get("body", b""))
        whole = not message.get("more_body", False)
        spent = time.monotonic() - start
        if not whole and spent > patience and got < _SLOWEST * spent:
            raise HTTPException(408, "what was being sent came too slowly")
        return message

    return receive_in_time


def _without_port(host: str) -> str:
    name, colon, port = host.rpartition(":")
    return name if colon and port.isdigit() else host


def _is_visit(headers: Headers) -> bool:
    """Tell whether a request is somebody following a link, which shows nothing to the page it stood on."""
    return headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"
