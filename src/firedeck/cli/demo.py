"""The command that works through the demonstration."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firedeck.cli.shell import OverwriteOption, progress

__all__ = ["demo"]


def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write it to.", show_default=False)],
    overwrite: OverwriteOption = False,
) -> None:
    """Write the files of an invented engine, read its two prints and compare them."""
    from firedeck.scenario.demo_files import write_demo
    from firedeck.study.demonstration import work_demonstration
    from firedeck.study.folders import write_folder

    lines: list[str] = []
    with progress() as tell:

        def fill(draft: Path) -> None:
            tell("drawing the scans of the invented engine", 0.0)
            write_demo(draft)
            lines.extend(
                work_demonstration(draft, progress=lambda what, share: tell(what, 0.3 + 0.7 * share))
            )

        write_folder(folder, fill, overwrite=overwrite)
    for line in lines:
        typer.echo(line)
    typer.echo(f"open {folder / 'index.html'} in a browser")
