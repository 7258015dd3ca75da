"""Connections to the pages: how long one may take to ask for something, and how many may stand open.

What is asked for is judged elsewhere; here are those who connect and never ask. One that takes too long is
hung up on, and where too many stand open those that have been silent longest make room, so that nobody can
keep the pages' own user out.
"""

from __future__ import annotations

import asyncio
import logging
from dataclasses import dataclass

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["Limits", "Line", "lines_within"]

_LOG = logging.getLogger("firedeck.web")


@dataclass(frozen=True)
class Limits:
    """What is borne of those who connect.

    Attributes
    ----------
    patience : float
        Longest wait for the whole head of a request, from its first sign or the connection's beginning [s].
    most : int
        Most connections open at once [1]; a browser needs about six.
    """

    patience: float = 10.0
    most: int = 64


class Line(H11Protocol):
    """One connection, watched until it has asked for something."""

    limits = Limits()

    # A stream is all that it is ever handed; the standard library's protocol declares any transport.
    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait; make room where too many stand open."""
        super().connection_made(transport)
        self._timer: asyncio.TimerHandle | None = None
        self._silent_since = self.loop.time()
        self._said_something = False
        self._watch()
        if len(self.connections) > self.limits.most:
            self._make_room()

    def data_received(self, data: bytes) -> None:
        """Take what comes; the wait ends with the head of a request, not with each of its parts."""
        self._said_something = True
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        """Note that the connection falls silent again."""
        self._silent_since = self.loop.time()
        self._said_something = False
        super().on_response_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._stop_waiting()
        super().connection_lost(exc)

    @property
    def _asks_nothing(self) -> bool:
        return self.conn.their_state is h11.IDLE

    def _watch(self) -> None:
        if not self._asks_nothing or self.transport.is_closing():
            self._stop_waiting()
        elif self._timer is None:
            self._timer = self.loop.call_later(self.limits.patience, self._lose_patience)

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _lose_patience(self) -> None:
        self._timer = None
        if self.transport.is_closing():
            return
        if self._said_something:
            self._hang_up("408 Request Timeout", "a request whose head did not come in time")
        else:
            # A browser opens connections in case it needs them: their end is nothing to tell of.
            self.transport.close()

    def _make_room(self) -> None:
        """Hang up on the one that has been silent longest: this one, where no other asks nothing."""
        silent = [one for one in self.connections if isinstance(one, Line) and one._can_go]
        longest = min(silent, key=lambda one: one._silent_since, default=self)
        longest._hang_up("503 Service Unavailable", "a connection, as too many stand open")

    @property
    def _can_go(self) -> bool:
        return self._asks_nothing and not self.transport.is_closing()

    def _hang_up(self, status: str, what: str) -> None:
        _LOG.warning("refused: %s, %s", what, status[:3])
        words = f"Refused: {what}.\n".encode()
        head = f"HTTP/1.1 {status}\r\nContent-Type: text/plain\r\nContent-Length: {len(words)}\r\n"
        self.transport.write(f"{head}Connection: close\r\n\r\n".encode() + words)
        self.connections.discard(self)
        self.transport.close()


def lines_within(limits: Limits) -> type[Line]:
    """Return the kind of connection that keeps to limits."""
    return type("LineWithin", (Line,), {"limits": limits})
