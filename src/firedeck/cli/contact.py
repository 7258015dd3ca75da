"""Commands about how joints are calculated: the same joint for another program, the cache of bodies."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firedeck.cli.shell import JsonOption, OverwriteOption, print_json, progress

if TYPE_CHECKING:
    from firedeck.study.cache import CacheState

__all__ = ["app"]

app = typer.Typer(
    help="Behind the prediction: export a joint for another program, look after the cache.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
cache = typer.Typer(
    help="The cache of condensed heads and blocks, which makes the next prediction quick.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(cache, name="cache")


@app.command()
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Prediction file.", show_default=False)],
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for the deck and what it is compared with.")
    ],
    state: Annotated[
        str, typer.Option(help="State to export, such as settled, hot, or 'firing, bore 2'.")
    ] = "settled",
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write the joint's mesh, springs and loads as an input deck for CalculiX, to check a prediction.

    Beside the deck stand this program's own answers, point by point, and how to compare them.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prediction.deck_export import export_deck, write_deck

    check_folder(out, overwrite=overwrite)
    with progress() as tell:
        found = export_deck(file, state, progress=tell)
        place = write_deck(found, out, overwrite=overwrite)
    if as_json:
        print_json(
            {
                "deck": place,
                "state": found.name,
                "freedoms": found.freedoms,
                "gasket_points": len(found.deck.points),
                "cut_cells": found.deck.cut_cells,
            }
        )
        return
    typer.echo(f"written: {place} ({found.freedoms} freedoms, {len(found.deck.points)} gasket points)")
    if found.deck.cut_cells:
        typer.echo(
            f"  note: {found.deck.cut_cells} cells are cut by walls; the deck has whole bricks there and "
            f"is stiffer"
        )
    typer.echo(f"  how to run and compare: {out / 'how-to-compare.txt'}")


@cache.command()
def show(as_json: JsonOption = False) -> None:
    """Say where the cache is, how much it holds and how much it may.

    The folder is FIREDECK_CACHE where that is set, its limit in GB FIREDECK_CACHE_LIMIT.
    """
    from firedeck.study.cache import cache_state

    _tell(cache_state(), as_json)


@cache.command()
def trim(
    limit: Annotated[
        float | None, typer.Option(metavar="GB", help="Size to trim to; the cache's own limit unless given.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Remove what is damaged, and what was used longest ago until the rest fits."""
    from firedeck.study.cache import trim_cache

    _tell(trim_cache(limit), as_json)


@cache.command()
def clear(as_json: JsonOption = False) -> None:
    """Remove everything; the next prediction builds its bodies again."""
    from firedeck.study.cache import clear_cache

    _tell(clear_cache(), as_json)


def _tell(state: CacheState, as_json: bool) -> None:
    if as_json:
        print_json(state)
        return
    bodies = "1 body" if state.files == 1 else f"{state.files} bodies"
    typer.echo(f"{state.folder}: {bodies}, {state.size / 1e6:.1f} of {state.limit / 1e6:.0f} MB")
    if state.removed:
        typer.echo(f"  removed: {state.removed}")
    if state.damaged:
        typer.echo(f"  damaged: {state.damaged}; they are made again when needed, or remove them with trim")
