"""Commands that predict a joint: its states, the order in which seals give, the print of a film test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperGroup

from firedeck.cli.shell import ExitCode, JsonOption, print_json, print_table, progress

if TYPE_CHECKING:
    from firedeck.study.prediction.predicting import PredictionReading
    from firedeck.study.prediction.scatter import ScatterReading

__all__ = ["app"]

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="Prediction file.", show_default=False)]
OutOption = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for report, pictures and tables.")
]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace the folder whatever it holds.")]
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
    out: OutOption = None,
    fast: FastOption = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="End with code 1 unless the verdict is holds.")
    ] = False,
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
    out: OutOption = None,
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


@app.command()
def scatter(
    file: FileArgument,
    assemblies: Annotated[
        int, typer.Option(metavar="N", help="How many assemblies to draw: more tell rarer faults.")
    ] = 2000,
    seed: Annotated[
        int, typer.Option(metavar="N", help="Seed of the draw; the same seed draws the same.")
    ] = 1,
    out: OutOption = None,
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
    out: OutOption = None,
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
