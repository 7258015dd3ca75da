"""The command that compares two prints."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from firedeck.cli.film import OutOption, draw_refusal
from firedeck.cli.shell import JsonOption, OverwriteOption, print_json, print_table, progress

if TYPE_CHECKING:
    from firedeck.study.prints.reading import Comparison

__all__ = ["compare"]


def compare(
    first: Annotated[Path, typer.Argument(metavar="FIRST", help="Film test record.", show_default=False)],
    second: Annotated[
        Path,
        typer.Argument(metavar="SECOND", help="Film test record of the other gasket.", show_default=False),
    ],
    out: OutOption,
    pitch: Annotated[str, typer.Option(help="Side of the maps' cells, with its unit.")] = "0.1 mm",
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Compare two prints on one deck plan, second minus first.

    One assembly of each gasket: the intervals hold for these two prints and do not hold the
    scatter from one assembly to the next.
    """
    from firedeck.study.folders import check_folder
    from firedeck.study.prints.output import write_comparison
    from firedeck.study.prints.reading import compare_readings, read_print
    from firedeck.units import parse_quantity

    side = parse_quantity(pitch, "length")
    check_folder(out, overwrite=overwrite)
    with progress() as tell:
        with draw_refusal(first, out):
            before = read_print(first, pitch=side, progress=lambda what, share: tell(what, 0.4 * share))
        with draw_refusal(second, out):
            after = read_print(second, pitch=side, progress=lambda what, share: tell(what, 0.4 + 0.4 * share))
        tell("writing the comparison", 0.85)
        comparison = compare_readings(before, after)
        page = write_comparison(comparison, out, overwrite=overwrite)
    if as_json:
        print_json(_record(comparison, page))
    else:
        _tell(comparison, page)


def _record(comparison: Comparison, page: Path) -> dict[str, object]:
    seals = [
        {
            "seal": one.name,
            "mean_N_per_mm": one.mean,
            "weakest_N_per_mm": one.weakest,
            "smallest_N_per_mm": one.smallest,
            "sectors": len(one.at),
            "sectors_shown": int(one.shown.sum()),
        }
        for one in comparison.seals
    ]
    names = comparison.first.files.test.name, comparison.second.files.test.name
    return {"first": names[0], "second": names[1], "seals": seals, "notes": comparison.notes, "report": page}


def _tell(comparison: Comparison, page: Path) -> None:
    from firedeck.compare import ONE_ASSEMBLY_EACH
    from firedeck.report.words import difference

    names = comparison.first.files.test.name, comparison.second.files.test.name
    typer.echo(f"{names[1]} minus {names[0]}")
    typer.echo(ONE_ASSEMBLY_EACH)
    rows = []
    for one in comparison.seals:
        told = ["" if end.low > 0 or end.high < 0 else "not shown" for end in (one.mean, one.weakest)]
        rows.append((one.name, difference(one.mean), told[0], difference(one.weakest), told[1]))
    print_table(("seal", "mean [N/mm]", "", "weakest [N/mm]", ""), rows)
    for note in comparison.notes:
        typer.echo(f"  note: {note}")
    typer.echo(f"written: {page}")
