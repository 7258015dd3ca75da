"""The command that serves the local pages."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["serve"]


def serve(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Bench: the folder to work in.")] = Path(),
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes any that is free.")] = 0,
    browser: Annotated[bool, typer.Option(help="Open the bench page in the browser.")] = True,
) -> None:
    """Show a folder of definitions, scans and readings as pages in the browser.

    The pages are for this machine alone: they listen on its own address, ask nothing of any other
    machine, and stop with Ctrl+C.
    """
    from firedeck.web.serving import serve as run

    run(
        folder,
        port=port,
        open_browser=browser,
        tell=lambda address: typer.echo(f"pages at {address} (stop with Ctrl+C)"),
    )
