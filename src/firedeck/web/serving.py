"""Serve the pages on this machine's own address until stopped."""

from __future__ import annotations

import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from firedeck.errors import FiredeckError
from firedeck.web.app import create_app
from firedeck.web.lines import Limits, lines_within

__all__ = ["serve", "server_of"]

_ADDRESS = "127.0.0.1"


def serve(folder: Path, *, port: int = 0, open_browser: bool = False, tell: Callable[[str], None]) -> None:
    """Serve the pages over a bench folder until interrupted.

    Parameters
    ----------
    folder : Path
        The bench.
    port : int
        Port to listen on; 0 for any that is free.
    open_browser : bool
        Whether to open the bench page in the browser.
    tell : callable
        Told the address once the server listens.

    Raises
    ------
    FiredeckError
        If there is no such folder, or the port is taken.
    """
    app = create_app(folder)
    # Where the protocol is not named, the event loop leaves small packets waiting for the browser's word on
    # the packet before: 40 ms for every answer.
    listener = socket.socket(proto=socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((_ADDRESS, port))
        # From here on callers wait their turn: the address may be told before the server has come up.
        listener.listen()
    except (OSError, OverflowError) as fault:
        listener.close()
        raise FiredeckError(
            f"port {port} cannot be listened on", remedy="name another port, or leave it out"
        ) from fault
    address = f"http://{_ADDRESS}:{listener.getsockname()[1]}/"
    tell(address)
    if open_browser:
        webbrowser.open(address)
    server_of(app).run(sockets=[listener])


def server_of(app: Starlette, limits: Limits | None = None) -> uvicorn.Server:
    """Return the server of an application, which bears with those who connect within limits.

    Parameters
    ----------
    app : Starlette
        The application.
    limits : Limits, optional
        What is borne; the usual unless given.

    Returns
    -------
    Server
        The server, not started; where to listen, it is told by the socket that it is run on.
    """
    config = uvicorn.Config(
        app, http=lines_within(limits or Limits()), port=0, log_level="warning", server_header=False,
        ws="none", proxy_headers=False,
    )  # fmt: skip
    return uvicorn.Server(config)
