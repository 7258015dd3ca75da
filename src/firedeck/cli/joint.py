"""Commands about the joint: check its files, show its deck plan; its fasteners have a file of their own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from firedeck.cli import fastening
from firedeck.cli.shell import ExitCode, JsonOption, OverwriteOption, print_json, print_table, progress

if TYPE_CHECKING:
    from firedeck.study.joint import FileCheck, PlanSummary

__all__ = ["app"]

app = typer.Typer(
    help="Deck plan, gasket, fasteners and the other files that describe a joint.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.command()(fastening.fasteners)
app.command()(fastening.torque)


@app.command()
def check(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="Definition files, of any kind.", show_default=False),
    ],
    as_json: JsonOption = False,
) -> None:
    """Check definition files and tell every fault at once.

    A deck plan is also checked as a whole: whether its openings and seals fit together. Where one
    deck plan and gaskets with seals of their own are named, these are checked on the plan.
    """
    from firedeck.study.joint import check_files

    checks = check_files(files)
    if as_json:
        print_json({"files": checks, "sound": all(found.sound for found in checks)})
    else:
        for found in checks:
            _tell(found)
    if not all(found.sound for found in checks):
        raise typer.Exit(ExitCode.BAD_INPUT)


def _tell(found: FileCheck) -> None:
    state = "sound" if found.sound else _counted(len(found.faults), "fault")
    if found.doubts:
        state += f", {_counted(len(found.doubts), 'doubt')}"
    kind = f" ({found.kind})" if found.kind else ""
    typer.echo(f"{found.file}{kind}: {state}")
    for word, entries in (("fault", found.faults), ("doubt", found.doubts)):
        for entry in entries:
            value = f" (found {entry.value})" if entry.value else ""
            typer.echo(f"  {word}  {entry.key}: {entry.message}{value}")
            if entry.remedy:
                typer.echo(f"         To mend: {entry.remedy}")


def _counted(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


@app.command()
def show(
    deck: Annotated[Path, typer.Argument(metavar="DECK", help="Deck plan file.", show_default=False)],
    gasket: Annotated[
        Path | None, typer.Option(help="Gasket file; its own seals are shown, where it has any.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Picture to write, .svg or .png.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Sum up a deck plan and draw it."""
    from firedeck.study.joint import show_plan

    summary = show_plan(deck, gasket=gasket, out=out)
    if as_json:
        print_json(summary)
        return
    for line in _summary_lines(summary):
        typer.echo(line)
    if out is not None:
        typer.echo(f"drawn: {out}")


@app.command()
def laws(
    gasket: Annotated[Path, typer.Argument(metavar="GASKET", help="Gasket file.", show_default=False)],
    deck: Annotated[
        Path | None, typer.Option(help="Deck plan file; its seals count where the gasket has none.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for pictures and tables of all laws.")
    ] = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show load over closure of every law that a gasket file states.

    Laws come from measured tables or from the geometry of beads, rings, stoppers and coatings. A
    law from geometry is an estimate: press a sample before an engine depends on it.
    """
    from firedeck.study.closure import load_gasket_laws
    from firedeck.study.closure_output import law_record, write_laws
    from firedeck.study.folders import check_folder

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        tell("pressing the gasket", 0.2)
        found = load_gasket_laws(gasket, deck)
        if out is not None:
            write_laws(found, out, overwrite=overwrite)
    if as_json:
        print_json({"gasket": found.gasket.name, "laws": law_record(found), "folder": out})
        return
    _tell_laws(law_record(found))
    if out is not None:
        typer.echo(f"written: {out}")


def _tell_laws(records: list[dict[str, object]]) -> None:
    heads = ("law", "", "load at 1/4, 1/2, 3/4 of", "closure [mm]", "recovery from 3/4 [mm]", "seals")
    rows = []
    for one in records:
        loads, closures = cast("list[float]", one["load"]), cast("list[float]", one["closure_mm"])
        per = "N/mm" if one["per"] == "length" else "MPa"
        told = "  ".join(f"{load:.3g}" for load in loads)
        seals = cast("list[str]", one["seals"])
        recovery = cast("float", one["recovery_mm"])
        rows.append(
            (str(one["law"]), per, told, f"{closures[1] * 2:.3f}", f"{recovery:.4f}", str(len(seals)))
        )
    print_table(heads, rows)


def _summary_lines(summary: PlanSummary) -> list[str]:
    bores = ", ".join(f"{diameter:.2f}" for diameter in summary.bores)
    ports = ", ".join(f"{count} {kind}" for kind, count in summary.ports.items()) or "none"
    seals = f"seals of {summary.gasket}" if summary.gasket else "seals"
    width = max((len(seal.name) for seal in summary.seals), default=0)
    return [
        f"{summary.name}, {summary.size[0]:.1f} x {summary.size[1]:.1f} mm, origin {summary.origin}",
        f"  bores [mm]: {bores}",
        f"  fasteners: {summary.fasteners}   dowels: {summary.dowels}   ports: {ports}",
        f"  {seals}:" if summary.seals else f"  {seals}: none",
        *(
            f"    {seal.name:<{width}}  {seal.kind:<9}  {seal.length:7.1f} mm long, band {seal.band:.1f} mm,"
            f" encloses {_short_list(seal.encloses)}"
            for seal in summary.seals
        ),
        *(f"  {finding.severity}  {finding.key}: {finding.message}" for finding in summary.findings),
    ]


def _short_list(names: tuple[str, ...], most: int = 4) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
