"""The command line: arguments in, one use case called, text or JSON out."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from firedeck import __version__
from firedeck.cli import compare, contact, demo, duty, film, joint, predict, prepare, serve
from firedeck.cli.shell import EXIT_CODES, CommandGroup

__all__ = ["EXIT_CODES", "app", "main"]

app = typer.Typer(
    name="firedeck",
    cls=CommandGroup,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.add_typer(joint.app, name="joint")
app.add_typer(duty.app, name="duty")
app.add_typer(predict.app, name="predict")
app.add_typer(contact.app, name="contact")
app.add_typer(film.app, name="film")
app.command("compare")(compare.compare)
app.command("serve")(serve.serve)
app.command("demo")(demo.demo)
app.command("prepare")(prepare.prepare)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"firedeck {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", help="Say which version this is.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """From the print of a head gasket to a verdict for every seal."""


def main() -> None:
    """Run the command line."""
    # Many small matrix products: a threaded library would spend its time waking threads.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    app()
