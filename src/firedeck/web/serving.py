"""Serve the pages on this machine's own address until stopped."""

from __future__ import annotations

import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from firedeck.errors import FiredeckError
from firedeck.web.app import create_app

__all__ = ["serve"]

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
    listener = socket.socket()
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
    config = uvicorn.Config(app, log_level="warning", server_header=False, ws="none")
    uvicorn.Server(config).run(sockets=[listener])
