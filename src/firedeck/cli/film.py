"""Commands about the film: calibrate it, read a print."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firedeck.cli.shell import (
    ExitCode,
    JsonOption,
    OverwriteOption,
    StrictOption,
    print_json,
    print_table,
    progress,
    say,
)

if TYPE_CHECKING:
    from firedeck.study.prints.calibrating import CalibrationResult
    from firedeck.study.prints.reading import PrintReading

__all__ = ["OutOption", "app", "draw_refusal"]

app = typer.Typer(
    help="Pressure-indicating film: its calibration, and prints on it.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

OutOption = Annotated[
    Path,
    typer.Option(
        "--out", metavar="DIR", help="Folder for report, pictures, tables and map.", show_default=False
    ),
]


@app.command()
def calibrate(
    record: Annotated[Path, typer.Argument(metavar="RECORD", help="Calibration record.", show_default=False)],
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILM", help="Film file to write; the one that the record names by default."),
    ] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder for a page with the curve and the pieces.")
    ] = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Calibrate a film batch from pieces pressed to known pressures.

    The response curve with its uncertainty goes into the film's file.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prints.calibrating import calibrate_film
    from firedeck.study.prints.output import write_calibration

    if report is not None:
        check_folder(report, overwrite=overwrite)
    with progress() as tell:
        result = calibrate_film(record, out=out, progress=tell)
        page = write_calibration(result, report, overwrite=overwrite) if report is not None else None
    if as_json:
        print_json(
            {
                "film": result.batch.name,
                "lot": result.batch.lot,
                "response": _response(result),
                "notes": result.notes,
                "report": page,
            }
        )
        return
    response = _response(result)
    typer.echo(
        f"{result.batch.name}, lot {result.batch.lot}: reads from {response['from_MPa']:.3g} to "
        f"{response['to_MPa']:.3g} MPa ({response['pieces']} pieces, {response['levels']} levels that answer)"
    )
    typer.echo(
        f"  largest error, one level left out: {100 * response['hold_out_error']:.1f} % of the pressure"
    )
    for note in result.notes:
        typer.echo(f"  note: {note}")
    if page is not None:
        typer.echo(f"written: {page}")


def _response(result: CalibrationResult) -> dict[str, float]:
    curve = result.batch.response
    assert curve is not None  # calibrate_film has fitted it
    return {
        "from_MPa": curve.pressure[0],
        "to_MPa": curve.pressure[-1],
        "levels": curve.levels,
        "pieces": curve.pieces,
        "hold_out_error": curve.hold_out_error,
        "shape_check": curve.shape_check,
    }


@app.command()
def read(
    test: Annotated[Path, typer.Argument(metavar="TEST", help="Film test record.", show_default=False)],
    out: OutOption,
    pitch: Annotated[str, typer.Option(help="Side of the map's cells, with its unit.")] = "0.1 mm",
    strict: StrictOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Read a print: pressure map, every seal's line load, leak paths, clamp balance and verdict.

    A reading that worked ends with code 0 whatever the verdict, unless --strict is given. Where the
    print cannot be laid onto the plan, a picture of what was found is written beside the folder,
    with -refused.png behind its name, and nothing else.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prints.output import write_reading
    from firedeck.study.prints.reading import read_print
    from firedeck.units import parse_quantity

    side = parse_quantity(pitch, "length")
    check_folder(out, overwrite=overwrite)
    with progress() as tell, draw_refusal(test, out):
        reading = read_print(test, pitch=side, progress=lambda what, share: tell(what, 0.7 * share))
        page = write_reading(
            reading, out, overwrite=overwrite, progress=lambda what, share: tell(what, 0.7 + 0.3 * share)
        )
    if as_json:
        from firedeck.study.prints.tables import reading_record

        print_json({**reading_record(reading), "report": page})
    else:
        _tell(reading, page)
    if strict and reading.verdict.state != "holds":
        raise typer.Exit(ExitCode.NOT_HOLDING)


@contextmanager
def draw_refusal(test: Path, out: Path) -> Iterator[None]:
    """Draw what was found where a print is not laid onto the plan, then let the refusal go on."""
    from firedeck.film.registered import RegistrationError

    try:
        yield
    except RegistrationError as refusal:
        from firedeck.study.prints.output import write_refusal

        drawn = write_refusal(test, refusal, out)
        if drawn is not None:
            say(f"What was found on the scan is drawn in {drawn}")
        raise


def _tell(reading: PrintReading, page: Path) -> None:
    from firedeck.report.words import estimate
    from firedeck.study.prints.pages import reading_headline

    headline = reading_headline(reading)
    for line in (headline.text, *headline.lines):
        typer.echo(line)
    rows = []
    for summary, judged in zip(reading.summaries, reading.verdict.seals, strict=True):
        weakest = summary.weakest
        rows.append(
            (
                summary.name,
                str(judged.state),
                estimate(weakest.line_load) if weakest else "not shown",
                f"{weakest.angle:.0f}°" if weakest else "",
                f"{weakest.fastener}, {weakest.fastener_distance:.0f} mm" if weakest else "",
                estimate(summary.mean),
            )
        )
    print_table(("seal", "verdict", "weakest [N/mm]", "at", "nearest fastener", "mean [N/mm]"), rows)
    if reading.balance is not None and reading.balance.fits:
        typer.echo(reading.balance.text)
    for note in (*reading.notes, *reading.verdict.remarks):
        typer.echo(f"  note: {note}")
    typer.echo(f"written: {page}")
