"""Commands about how the head is fastened: preload and clamp, torque and the card for it."""

from __future__ import annotations

import enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firedeck.cli.shell import (
    ExitCode,
    JsonOption,
    OverwriteOption,
    ReportOption,
    StrictOption,
    print_json,
    print_table,
    progress,
)

if TYPE_CHECKING:
    from firedeck.study.fastening.assessment import FasteningReading
    from firedeck.study.fastening.torque import TorquePlan

__all__ = ["fasteners", "torque"]

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="Fastening file.", show_default=False)]


class Way(enum.StrEnum):
    """How the last stage is carried out."""

    GIVEN = "given"
    EVEN = "even"
    PASSES = "passes"


def fasteners(
    file: FileArgument,
    out: ReportOption = None,
    strict: StrictOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Assess how a head is fastened: preload and its scatter, yield, seats, threads, losses, heat, gas load.

    Every fastener is followed through the whole tightening, and the clamp of every cylinder is set
    against its gas load. An assessment that worked ends with code 0 whatever the verdict, unless
    --strict is given.
    """
    from firedeck.study.fastening.assessment import assess_fastening
    from firedeck.study.folders import check_folder

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        tell("reckoning the clamp", 0.1)
        reading = assess_fastening(file)
        page = None
        if out is not None:
            from firedeck.study.fastening.output import write_fastening

            tell("drawing the report", 0.4)
            page = write_fastening(reading, out, overwrite=overwrite)
    if as_json:
        from firedeck.study.fastening.tables import fastening_record

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


def torque(
    file: FileArgument,
    preload: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FORCE",
            help="Preload wanted as tightened, with its unit; may be repeated. The plan is for the first. "
            "Without any, the fastening's own tightening is planned.",
        ),
    ] = None,
    way: Annotated[
        Way,
        typer.Option(
            help="given: the stages as they are; even: a last round with a torque of its own for every "
            "fastener, which ends even; passes: the last round repeated until even.",
        ),
    ] = Way.GIVEN,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for the tightening card, report and tables.")
    ] = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Find the torque for a preload, the rounds and the order to get there, and write the tightening card.

    The table shows torques over the whole range of friction and marks those that yield. The card is
    one page, as HTML and PDF, with the order drawn on the deck plan.
    """
    from firedeck.study.fastening.torque import plan_torque
    from firedeck.study.folders import check_folder
    from firedeck.units import parse_quantity

    wanted = [parse_quantity(text, "force") for text in preload or ()]
    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        tell("finding torques", 0.1)
        plan = plan_torque(file, wanted, way=way.value)
        page = None
        if out is not None:
            from firedeck.study.fastening.output import write_torque_plan

            tell("drawing the card", 0.4)
            page = write_torque_plan(plan, out, overwrite=overwrite)
    if as_json:
        from firedeck.study.fastening.tables import torque_record

        print_json({**torque_record(plan), "report": page})
        return
    _tell_torque(plan)
    if out is not None:
        typer.echo(f"written: {page}, {out / 'card.html'}, {out / 'card.pdf'}")


def _tell_torque(plan: TorquePlan) -> None:
    from firedeck.study.fastening.torque_words import (
        TORQUE_HEAD,
        plan_lines,
        snug_line,
        torque_rows,
        yield_line,
    )

    for table in plan.tables:
        typer.echo(f"{table.place.group.name}, {table.place.tightening.lubricant.name}")
        rows = [[cell if isinstance(cell, str) else cell.text for cell in row] for row in torque_rows(table)]
        print_table(TORQUE_HEAD, rows)
        typer.echo(yield_line(table))
        typer.echo(snug_line(table))
    for line in plan_lines(plan):
        typer.echo(line)
    reading = plan.reading
    typer.echo(f"Verdict on this tightening: {reading.verdict.state}")
    for part in reading.verdict.parts:
        if part.state != "holds":
            typer.echo(f"  {part.part}: {part.state} – {part.governing.text}")
    for note in (*reading.verdict.remarks, *reading.assumptions):
        typer.echo(f"  note: {note}")
