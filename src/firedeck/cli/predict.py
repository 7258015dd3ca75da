"""Commands that predict a joint: its states, the order in which seals give, the print of a film test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperGroup

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
    from firedeck.study.prediction.predicting import PredictionReading
    from firedeck.study.prediction.scatter import ScatterReading

__all__ = ["app"]

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="Prediction file.", show_default=False)]
FastOption = Annotated[
    bool,
    typer.Option("--fast", help="Solve patches of the gasket only, not every point beside them."),
]

#: What `firedeck predict FILE` is short for.
_USUAL = "joint"


class PredictGroup(TyperGroup):
    """A group whose first word may also be the file that its usual command takes."""

    # Typer hands its own context, which the group beneath it does not declare.
    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        """Put the usual command's name before a file or option that stands in its place."""
        if args and args[0] not in self.commands and args[0] not in ("--help", "--install-completion"):
            args = [_USUAL, *args]
        return super().parse_args(ctx, args)


app = typer.Typer(
    cls=PredictGroup,
    help="Predict the joint: what every seal carries cold, hot and firing, before anything is clamped.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command(_USUAL)
def joint(
    file: FileArgument,
    out: ReportOption = None,
    fast: FastOption = False,
    strict: StrictOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Predict what every seal carries cold, settled, hot and firing; `firedeck predict FILE` for short.

    Head and block are elastic bodies, the gasket's seals follow their closure laws, the fasteners are
    turned move by move. A prediction that worked ends with code 0 whatever the verdict, unless --strict
    is given.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prediction.predicting import predict_joint

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        share = 0.7 if out is not None else 1.0
        reading = predict_joint(file, check=not fast, progress=lambda what, part: tell(what, share * part))
        page = None
        if out is not None:
            from firedeck.study.prediction.output import write_prediction

            page = write_prediction(
                reading, out, overwrite=overwrite, progress=lambda what, part: tell(what, 0.7 + 0.3 * part)
            )
    if as_json:
        from firedeck.study.prediction.tables import prediction_record

        print_json({**prediction_record(reading), "report": page})
    else:
        _tell(reading)
        if page is not None:
            typer.echo(f"written: {page}")
    _end(reading, strict)


def _end(reading: PredictionReading, strict: bool) -> None:
    from firedeck.verdict import State, judge_margins

    if strict and judge_margins(reading.margins) != State.HOLDS:
        raise typer.Exit(ExitCode.NOT_HOLDING)


def _tell(reading: PredictionReading) -> None:
    from firedeck.report.words import number
    from firedeck.verdict import judge_margins

    typer.echo(f"Predicted: {judge_margins(reading.margins)}")
    rows = []
    for margin in reading.margins:
        states = next(one.states for one in reading.seals if one.seal == margin.seal)
        settled, worst = states["settled"], states[margin.governing.joint_state]
        rows.append(
            (
                margin.seal,
                str(margin.state),
                f"{settled.mean:.0f}",
                f"{settled.lowest:.0f}",
                f"{worst.lowest:.0f}",
                f"{margin.governing.rule}, {margin.governing.joint_state}",
                f"{number(margin.governing.ratio, 2)} (from {number(max(margin.governing.low, 0.0), 2)})",
            )
        )
    head = (
        "seal", "predicted", "mean settled [N/mm]", "lowest settled", "lowest there", "governed by",
        "times what it needs",
    )  # fmt: skip
    print_table(head, rows)
    for state, ratios in reading.ratios.items():
        words = ", ".join(f"{bore} {ratio:.2f}" for bore, ratio in ratios.items())
        typer.echo(f"clamp over gas load, {state}: {words}")
    for breach in reading.breaches[:1]:
        typer.echo(
            f"gas gets out first from {breach.bore} across {breach.path.seal}: at "
            f"{10 * breach.breach.value:.0f} bar on the clamp of {10 * breach.gas:.0f} bar firing"
        )
    for note in reading.assumptions:
        typer.echo(f"  note: {note}")


@app.command()
def giveway(
    file: FileArgument,
    duty: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Duty file of a cycle model or rule, to tell the power as well."),
    ] = None,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Find the order in which seals give as cylinder pressure rises, and the power where a duty is named."""
    from firedeck.study.folders import check_folder
    from firedeck.study.prediction.giveway import order_give_way
    from firedeck.study.prediction.giveway_output import giveway_line, giveway_record, write_giveway

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        reading = order_give_way(file, duty=duty, progress=tell)
        page = write_giveway(reading, out, overwrite=overwrite) if out is not None else None
    if as_json:
        print_json({**giveway_record(reading), "report": page})
        return
    typer.echo(f"Give-way order, {reading.state}, first on top:")
    for place, one in enumerate(reading.seals, start=1):
        typer.echo(f"{place:3d}  {giveway_line(one)}")
    for note in reading.assumptions:
        typer.echo(f"  note: {note}")
    if page is not None:
        typer.echo(f"written: {page}")


@app.command("what-if")
def what_if(
    file: FileArgument,
    gasket: Annotated[str, typer.Option(metavar="FILE", help="Another gasket, beside the prediction.")] = "",
    stages: Annotated[
        str, typer.Option(metavar="STEPS", help='Steps of the tightening, such as "60 N*m, 90 deg".')
    ] = "",
    thread: Annotated[str, typer.Option(metavar="FRICTION", help="Friction in the thread.")] = "",
    bearing: Annotated[str, typer.Option(metavar="FRICTION", help="Friction under the turned face.")] = "",
    state: Annotated[
        str, typer.Option(metavar="STATE", help="Joint before gas: tightened, settled or hot.")
    ] = "",
    head: Annotated[
        str,
        typer.Option(metavar="TEMPERATURES", help='Head, from the sealing plane up: "140 degC, 95 degC".'),
    ] = "",
    block: Annotated[str, typer.Option(metavar="TEMPERATURES", help="Block, from the deck down.")] = "",
    fasteners: Annotated[str, typer.Option(metavar="TEMPERATURE", help="Fasteners.")] = "",
    pressure: Annotated[
        str, typer.Option(metavar="PRESSURE", help='Cylinder pressure, such as "120 bar"; "0 bar" for none.')
    ] = "",
    bore: Annotated[str, typer.Option(metavar="NAME", help="Cylinder that fires.")] = "",
    step: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", min=1, help="Move of the tightening to show, from 1."),
    ] = None,
    out: ReportOption = None,
    fast: FastOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Answer one setting of the joint: what is not said stays as the files have it.

    The clamp page of `firedeck serve` answers the same settings, and names the command for each.
    """
    from firedeck.study.clamp.what_if import answer_what_if, what_if_record
    from firedeck.study.clamp.what_if_output import what_if_headline, what_if_table, write_what_if
    from firedeck.study.folders import check_folder

    said = {
        "gasket": gasket, "stages": stages, "thread": thread, "bearing": bearing, "state": state,
        "head": head, "block": block, "fasteners": fasteners, "pressure": pressure, "bore": bore,
    }  # fmt: skip
    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        result = answer_what_if(file, said, step=step, fast=fast, progress=tell)
        page = write_what_if(result, out, overwrite=overwrite) if out is not None else None
        record = what_if_record(result) if as_json else {}
    if as_json:
        print_json({**record, "report": page})
        return
    typer.echo(what_if_headline(result).text)
    table = what_if_table(result)
    print_table(
        table.head, [[cell if isinstance(cell, str) else cell.text for cell in row] for row in table.rows]
    )
    for note in result.assumptions:
        typer.echo(f"  note: {note}")
    if page is not None:
        typer.echo(f"written: {page}")


@app.command()
def scatter(
    file: FileArgument,
    assemblies: Annotated[
        int, typer.Option(metavar="N", help="How many assemblies to draw: more tell rarer faults.")
    ] = 2000,
    seed: Annotated[
        int, typer.Option(metavar="N", help="Seed of the draw; the same seed draws the same.")
    ] = 1,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Draw assemblies with their own friction and wrench, and tell how often a seal has less than it needs.

    Each is tightened step by step, settled, warmed and fired on patches of the gasket.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prediction.scatter import scatter_joint
    from firedeck.study.prediction.scatter_output import scatter_record, write_scatter

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        reading = scatter_joint(file, assemblies=assemblies, seed=seed, progress=tell)
        page = write_scatter(reading, out, overwrite=overwrite) if out is not None else None
    if as_json:
        print_json({**scatter_record(reading), "report": page})
        return
    _tell_scatter(reading)
    if page is not None:
        typer.echo(f"written: {page}")


def _tell_scatter(reading: ScatterReading) -> None:
    from firedeck.report.words import number
    from firedeck.study.prediction.scatter_output import moved_words, share_words

    typer.echo(
        f"Of {reading.assemblies} assemblies, some seal has less than it needs: {share_words(reading.short)}"
    )
    head = ("seal", "has less than it needs", "times what it needs", "governed by, mostly", "goes with")
    rows = [
        (
            one.seal,
            share_words(one.short),
            f"{number(one.ratio.value, 2)} ({number(one.ratio.low, 2)} to {number(one.ratio.high, 2)})",
            one.governed,
            moved_words(one),
        )
        for one in reading.seals
    ]
    print_table(head, rows)
    for note in reading.assumptions:
        typer.echo(f"  note: {note}")


@app.command("print")
def film_print(
    file: FileArgument,
    out: ReportOption = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Predict the print of a film test, and whether the film's range suits it.

    The film keeps the highest pressure of the whole tightening, gives under the lines and widens them.
    The folder holds the pressures as the reader writes them, and a picture of the film at true size.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prediction.film_print import predict_print
    from firedeck.study.prediction.film_print_output import film_words, print_record, write_print

    if out is not None:
        check_folder(out, overwrite=overwrite)
    with progress() as tell:
        result = predict_print(file, progress=tell)
        page = write_print(result, out, overwrite=overwrite) if out is not None else None
    if as_json:
        print_json({**print_record(result), "report": page})
        return
    low, top = result.map.stated_range
    typer.echo(f"{result.batch.name}, lot {result.batch.lot}: tells {low:g} to {top:g} MPa")
    for part in film_words(result).split("; "):
        typer.echo(f"  {part}")
    for note in result.assumptions:
        typer.echo(f"  note: {note}")
    if page is not None:
        typer.echo(f"written: {page}")
