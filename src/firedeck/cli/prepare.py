"""The command that has everything compiled before it is needed."""

from __future__ import annotations

import tempfile
from pathlib import Path

import typer

from firedeck.cli.shell import progress

__all__ = ["prepare"]


def prepare() -> None:
    """Compile the inner loops now, so that no first piece of work waits for it.

    They are compiled for this machine and kept beside the program. Without this each is compiled when it
    is first used, which makes the first print and the first prediction a minute slower.
    """
    from firedeck.scenario.demo_files import write_demo
    from firedeck.study.rehearsal import rehearse

    with progress() as tell, tempfile.TemporaryDirectory() as folder:
        tell("compiling: drawing coarse scans", 0.0)
        write_demo(folder, dpi=_COARSE)
        rehearse(Path(folder), progress=lambda what, share: tell(f"compiling: {what}", 0.2 + 0.8 * share))
    typer.echo("the inner loops are compiled")


#: Resolution that is enough to find sheet and holes by [pixels/inch].
_COARSE = 200.0
