"""Commands about how the head is fastened: preload and clamp, torque and the card for it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firedeck.cli.shell import ExitCode, JsonOption, print_json, print_table, progress

if TYPE_CHECKING:
    from firedeck.study.fastening import FasteningReading

__all__ = ["fasteners"]

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="Fastening file.", show_default=False)]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace the folder whatever it holds.")]


def fasteners(
    file: FileArgument,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for report, pictures and tables.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="End with code 1 unless the verdict is holds.")
    ] = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Assess how a head is fastened: preload and its scatter, yield, seats, threads, losses, heat, gas load.

    Every fastener is followed through the whole tightening, and the clamp of every cylinder is set
    against its gas load. An assessment that worked ends with code 0 whatever the verdict, unless
    --strict is given.
    """
    from firedeck.study.fastening import assess_fastening
    from firedeck.study.folders import check_folder

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        tell("reckoning the clamp", 0.1)
        reading = assess_fastening(file)
        page = None
        if out is not None:
            from firedeck.study.fastening_output import write_fastening

            tell("drawing the report", 0.4)
            page = write_fastening(reading, out, overwrite=overwrite)
    if as_json:
        from firedeck.study.fastening_tables import fastening_record

        print_json({**fastening_record(reading), "report": page})
    else:
        _tell(reading)
        if page is not None:
            typer.echo(f"written: {page}")
    if strict and reading.verdict.state != "holds":
        raise typer.Exit(ExitCode.NOT_HOLDING)


def _tell(reading: FasteningReading) -> None:
    from firedeck.report.fastener_tables import group_words, kilonewtons

    verdict = reading.verdict
    typer.echo(f"Verdict: {verdict.state}")
    for part in verdict.parts:
        for reason in part.reasons:
            rule = "" if reason.rule == part.part else f", {reason.rule}"
            typer.echo(f"  {part.part}{rule}: {reason.state} – {reason.text}")
    for group in reading.clamp.groups:
        for line in group_words(group):
            typer.echo(line)
    turn = {name: place for place, name in enumerate(reading.clamp.joint.sequence, start=1)}
    rows = [
        (
            state.name,
            str(turn[state.name]),
            kilonewtons(state.tightened),
            kilonewtons(state.settled),
            kilonewtons(state.hot) if state.hot is not None else "not shown",
        )
        for state in reading.clamp.fasteners
    ]
    head = ("fastener", "turn", "after the last move [kN]", "settled [kN]", "in operation [kN]")
    print_table(head, rows)
    for note in (*verdict.remarks, *reading.assumptions):
        typer.echo(f"  note: {note}")
