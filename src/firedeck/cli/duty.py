"""Commands about the duty: what cylinder pressure the joint must survive, from each of its sources."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firedeck.cli.shell import (
    ExitCode,
    JsonOption,
    OverwriteOption,
    ReportOption,
    print_json,
    print_table,
    progress,
    say,
)

if TYPE_CHECKING:
    from firedeck.report.document import Facts, Headline, Table
    from firedeck.study.duty.cases import ModelReading, RuleReading
    from firedeck.study.duty.output import DutyOutcome
    from firedeck.study.duty.trace import TraceReading

__all__ = ["app"]

app = typer.Typer(
    help="Duty: the peak cylinder pressure that the joint must survive.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class Pegging(StrEnum):
    """Ways to find the absolute pressure of a trace."""

    INTAKE = "intake"
    POLYTROPIC = "polytropic"
    NONE = "none"


class Statistic(StrEnum):
    """Which peak is to reach the pressure."""

    MEAN = "mean"
    EXTREME = "extreme"


DutyArgument = Annotated[Path, typer.Argument(metavar="DUTY", help="Duty file.", show_default=False)]


@app.command()
def trace(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="Trace file, or duty file (.toml) that names one.", show_default=False
        ),
    ],
    mapping: Annotated[
        Path | None, typer.Option(metavar="MAPPING", help="Trace mapping: what the file does not say.")
    ] = None,
    duty: Annotated[
        Path | None,
        typer.Option(metavar="DUTY", help="Duty file with the engine, where FILE is a trace file."),
    ] = None,
    motored: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Trace of the same cylinder motored, to find top dead centre by."),
    ] = None,
    peg: Annotated[
        Pegging | None, typer.Option(help="How to find the absolute pressure; polytropic by default.")
    ] = None,
    manifold_pressure: Annotated[
        str | None, typer.Option(help="Absolute manifold pressure to peg to, with its unit.")
    ] = None,
    top_dead_centre: Annotated[
        str | None, typer.Option(help="Angle that the file gives firing top dead centre, with its unit.")
    ] = None,
    speed: Annotated[
        str | None, typer.Option(help="Engine speed of this trace, with its unit; over the mapping's.")
    ] = None,
    cycles: Annotated[
        int | None, typer.Option(min=1, help="Cycles that the largest peak is asked for.")
    ] = None,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Work up a measured trace: phase, peg, filter, statistics of the peaks, the largest to expect, knock.

    What file, mapping and duty leave open is listed, and the mapping's text with blanks is written
    to the output, ready to be saved and filled in. Nothing is guessed.
    """
    from firedeck.study.duty.trace import TraceOptions, read_trace

    options = TraceOptions(
        duty_file=duty,
        mapping_file=mapping,
        motored_file=motored,
        peg=None if peg is None else str(peg),
        manifold_pressure=_quantity(manifold_pressure, "pressure"),
        top_dead_centre=_quantity(top_dead_centre, "angle"),
        speed=_quantity(speed, "rotational_speed"),
        cycles=cycles,
    )
    _check(out, overwrite)
    with progress() as tell, _open_questions(as_json):
        reading = read_trace(file, options, progress=lambda what, share: tell(what, 0.7 * share))
        page = _write(reading, out, overwrite)
    _tell_duty(reading, page, as_json)


def _quantity(text: str | None, kind: str) -> float | None:
    from firedeck.units import parse_quantity

    return None if text is None else parse_quantity(text, kind)


def _check(out: Path | None, overwrite: bool) -> None:
    if out is not None:
        from firedeck.study.folders import check_folder

        check_folder(out, overwrite=overwrite)


def _write(outcome: DutyOutcome, out: Path | None, overwrite: bool) -> Path | None:
    if out is None:
        return None
    from firedeck.study.duty.output import write_duty

    return write_duty(outcome, out, overwrite=overwrite)


@contextmanager
def _open_questions(as_json: bool) -> Iterator[None]:
    """List what a trace leaves open, and write the text that would answer it."""
    from firedeck.study.duty.trace import UnclearTraceError

    try:
        yield
    except UnclearTraceError as unclear:
        if as_json:
            parts = {"message": unclear.message, "where": unclear.where, "remedy": unclear.remedy}
            asked = {"questions": unclear.questions, "file": unclear.name, "text": unclear.text}
            print_json({"error": {**parts, **asked}})
        else:
            say(str(unclear))
            say("")
            typer.echo(unclear.text, nl=False)
        raise typer.Exit(ExitCode.BAD_INPUT) from None


@app.command()
def model(
    duty: DutyArgument,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Work up the cycle model: peak pressure, mean pressures and power, with intervals.

    The intervals hold what the duty file says its inputs may be off, and the model's own doubt.
    """
    from firedeck.study.duty.cases import read_model

    _check(out, overwrite)
    with progress() as tell:
        tell("running the cycle model", 0.1)
        reading = read_model(duty)
        page = _write(reading, out, overwrite)
    _tell_duty(reading, page, as_json)


@app.command()
def rule(
    duty: DutyArgument,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Estimate peak pressure from power, torque or mean pressure by rule of thumb, with a wide band."""
    from firedeck.study.duty.cases import read_rule

    _check(out, overwrite)
    reading = read_rule(duty)
    _tell_duty(reading, _write(reading, out, overwrite), as_json)


@app.command()
def inverse(
    duty: DutyArgument,
    peak_pressure: Annotated[
        str, typer.Option(help="Peak cylinder pressure, absolute, with its unit.", show_default=False)
    ],
    statistic: Annotated[
        Statistic,
        typer.Option(help="Whether the mean peak or the largest of the duty's cycles is to reach it."),
    ] = Statistic.EXTREME,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Find the power at which a peak pressure is reached, and say what was moved to get there."""
    from firedeck.study.duty.cases import find_load
    from firedeck.units import parse_quantity

    peak = parse_quantity(peak_pressure, "pressure")
    _check(out, overwrite)
    with progress() as tell:
        tell("looking for the load", 0.1)
        reading = find_load(duty, peak, statistic=str(statistic))
        page = _write(reading, out, overwrite)
    if as_json:
        from firedeck.study.duty.tables import load_record

        print_json({**load_record(reading), "report": page})
        return
    from firedeck.report.duty_tables import load_facts
    from firedeck.study.duty.pages import load_headline

    _say_headline(load_headline(reading))
    _say_facts(load_facts(reading.load))
    _say_notes(reading.load.notes, page)


@app.command()
def thickness(
    duty: DutyArgument,
    thicknesses: Annotated[
        list[str],
        typer.Argument(
            metavar="THICKNESS...", help="Clamped gasket thickness with its unit.", show_default=False
        ),
    ],
    as_json: JsonOption = False,
) -> None:
    """Say what gasket thicknesses do to compression ratio and quench gap, and by the model to the peak."""
    from firedeck.study.duty.cases import try_thicknesses
    from firedeck.units import parse_quantity

    reading = try_thicknesses(duty, [parse_quantity(text, "length") for text in thicknesses])
    if as_json:
        from firedeck.study.duty.tables import thickness_record

        print_json(thickness_record(reading))
        return
    from firedeck.report.duty_tables import thickness_table

    _say_table(thickness_table(list(zip(reading.changes, reading.peaks, strict=True))))
    if reading.definition.engine.gasket_thickness is not None:
        typer.echo("the first row is the thickness that the duty's compression ratio is for")
    typer.echo("  note: burning is taken not to change with quench and compression; knock may well")


@app.command()
def compare(
    duties: Annotated[
        list[Path],
        typer.Argument(metavar="DUTY...", help="Duty files of one engine, two or more.", show_default=False),
    ],
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Set duties of one engine side by side in order of trust, and say where they disagree."""
    from firedeck.study.duty.cases import compare_duties

    _check(out, overwrite)
    with progress() as tell, _open_questions(as_json):
        comparison = compare_duties(duties, progress=lambda what, share: tell(what, 0.8 * share))
        page = _write(comparison, out, overwrite)
    if as_json:
        from firedeck.study.duty.tables import comparison_record

        print_json({**comparison_record(comparison), "report": page})
        return
    from firedeck.report.duty_tables import source_table
    from firedeck.study.duty.pages import comparison_headline

    _say_headline(comparison_headline(comparison))
    _say_table(source_table(list(zip(comparison.names, comparison.duties, strict=True)), comparison.against))
    _say_notes(comparison.notes, page)


def _tell_duty(reading: TraceReading | ModelReading | RuleReading, page: Path | None, as_json: bool) -> None:
    if as_json:
        from firedeck.study.duty.tables import duty_record

        print_json({**duty_record(reading), "report": page})
        return
    from firedeck.report.duty_tables import duty_facts, duty_table
    from firedeck.study.duty.pages import duty_headline

    _say_headline(duty_headline(reading.duty))
    _say_table(duty_table(reading.duty), most=6)  # the headline has MPa and psi
    for title, facts in _facts_of(reading):
        if title:
            typer.echo(title)
        _say_facts(facts)
    if not _facts_of(reading):
        _say_facts(duty_facts(reading.duty))
    _say_notes(reading.duty.notes, page)


def _facts_of(reading: TraceReading | ModelReading | RuleReading) -> list[tuple[str, Facts]]:
    from firedeck.report.duty_tables import cycle_facts, trace_facts
    from firedeck.study.duty.cases import ModelReading
    from firedeck.study.duty.trace import TraceReading

    if isinstance(reading, TraceReading):
        found = zip(reading.results, reading.fits, reading.indicated, strict=True)
        return [(f"cylinder {one[0].cylinder} as measured", trace_facts(*one)) for one in found]
    return [("the modelled cycle", cycle_facts(reading.worked))] if isinstance(reading, ModelReading) else []


def _say_headline(headline: Headline) -> None:
    for line in (headline.text, *headline.lines):
        typer.echo(line)


def _say_table(table: Table, *, most: int | None = None) -> None:
    rows = [[cell if isinstance(cell, str) else cell.text for cell in row[:most]] for row in table.rows]
    print_table(table.head[:most], rows)


def _say_facts(facts: Facts) -> None:
    width = max(len(name) for name, _ in facts.rows)
    for name, value in facts.rows:
        typer.echo(f"  {name:<{width}}  {value}")


def _say_notes(notes: Sequence[str], page: Path | None) -> None:
    for note in notes:
        typer.echo(f"  note: {note}")
    if page is not None:
        typer.echo(f"written: {page}")
