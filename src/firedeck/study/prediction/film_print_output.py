"""A predicted print as page, pictures, maps, table and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.drawing.film_picture import Pixels, film_figure, film_pixels, film_png
from firedeck.drawing.map_picture import map_figure
from firedeck.drawing.picture_file import to_png_bytes
from firedeck.evidence import flag_bit
from firedeck.files.map_file import write_map, write_map_tiff
from firedeck.report.cautions import print_limits_section
from firedeck.report.document import (
    Block,
    Document,
    Headline,
    Link,
    Notes,
    Paragraph,
    Picture,
    Section,
    Table,
)
from firedeck.report.record_tables import film_facts, provenance_table
from firedeck.report.words import number, percent, share
from firedeck.study.columns import Columns, as_rows, columns_of, plain
from firedeck.study.prediction.film_print import FilmPrint
from firedeck.study.report_folder import write_report

__all__ = ["film_words", "print_columns", "print_page", "print_record", "write_print"]

_UNITS = {
    "bare_mean_N_per_mm": "N/mm", "bare_lowest_N_per_mm": "N/mm", "film_mean_N_per_mm": "N/mm",
    "film_lowest_N_per_mm": "N/mm", "crown_MPa": "MPa",
}  # fmt: skip

#: Share of a seal's length that a film should tell, and that makes it of use [1].
_ENOUGH, _PARTLY = 0.9, 0.5


def print_columns(result: FilmPrint) -> Columns:
    """Return one row a seal."""
    return columns_of(
        [
            {
                "seal": one.seal,
                "kind": one.kind,
                "bare_mean_N_per_mm": one.bare.mean,
                "bare_lowest_N_per_mm": one.bare.lowest,
                "film_mean_N_per_mm": one.film.mean,
                "film_lowest_N_per_mm": one.film.lowest,
                "crown_MPa": one.crown,
                "below_range_share": one.below,
                "within_range_share": one.within,
                "saturated_share": one.saturated,
            }
            for one in result.seals
        ]
    )


def print_record(result: FilmPrint) -> dict[str, object]:
    """Return a predicted print as plain data for JSON."""
    record: dict[str, object] = {
        "prediction": result.files.prediction.name,
        "film": result.batch.name,
        "lot": result.batch.lot,
        "range_MPa": list(result.map.stated_range),
        "seals": as_rows(print_columns(result)),
        "choice": film_words(result),
        "assumptions": list(result.assumptions),
        "provenance": dict(result.files.provenance),
    }
    return {key: plain(value) for key, value in record.items()}


def film_words(result: FilmPrint) -> str:
    """Say how well the film's range suits the joint, kind by kind."""
    parts = []
    for kind in dict.fromkeys(one.kind for one in result.seals):
        own = [one for one in result.seals if one.kind == kind]
        within = sum(one.within for one in own) / len(own)
        below, dark = sum(one.below for one in own) / len(own), sum(one.saturated for one in own) / len(own)
        side = "low" if dark > below else "high"
        part = f"suits in part, a little too {side}" if within >= _PARTLY else f"too {side} a range"
        verdict = "suits" if within >= _ENOUGH else part
        parts.append(
            f"{kind} seals: {verdict} ({share(within)} of the length within, {share(below)} below, "
            f"{share(dark)} saturated)"
        )
    return "; ".join(parts)


def print_page(result: FilmPrint, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the page of a predicted print together."""
    plan = result.files.plan
    figure = map_figure(plan, result.map, title="Pressure that the film would feel")
    caption = (
        "Highest pressure of the whole tightening at every place, the film's thickness, give and "
        "bloom in it, coloured over the film's range."
    )
    blocks: list[Block] = []
    pixels = _pixels(result)
    if pixels is not None:
        looks = film_figure(plan, pixels, result.map.grid, title=f"As {result.batch.name} would look")
        words = (
            "Darkness by the film's own response curve, in its channel; the tint of the dye is for the "
            "eye. film.png "
            "beside this page is the same at true size, print.tif and print.nc hold the pressures."
        )
        blocks.append(Picture("print", to_png_bytes(looks), words))
    blocks.append(Picture("felt", to_png_bytes(figure), caption))
    sections = (
        Section("print", "The print", tuple(blocks)),
        Section("seals", "What the film does, and what it tells", (Paragraph(_HOW), _table(result))),
        Section("film", "The film", (film_facts(result.batch),)),
        Section("assumptions", "Assumptions that change the result", (Notes(result.assumptions),)),
        Section("provenance", "Settings and provenance", (provenance_table(result.files.provenance),)),
        print_limits_section(),
    )
    lines = tuple(f"{part[:1].upper()}{part[1:]}." for part in film_words(result).split("; "))
    headline = Headline(f"Predicted print on {result.batch.name}", "", lines)
    return Document(
        f"{result.files.prediction.name}, on {plan.name}", "Predicted print", headline, sections, links
    )


_HOW = (
    "Bare: the tightened joint without film. On film: the highest each place met while tightening "
    "on it. The film softens and evens out a joint, the peak-hold lifts what neighbours took away "
    "again. A real print is compared with the second, never with the first."
)


def _table(result: FilmPrint) -> Table:
    head = ("seal", "kind", "bare: mean, lowest [N/mm]", "on film: mean, lowest [N/mm]", "film against "
    "bare, mean",
            "mean crown [MPa]", "below range [% of length]", "within", "saturated")  # fmt: skip
    rows = tuple(
        (
            one.seal, one.kind, f"{number(one.bare.mean)}, {number(one.bare.lowest)}",
            f"{number(one.film.mean)}, {number(one.film.lowest)}",
            percent(one.film.mean / one.bare.mean - 1.0) if one.bare.mean > 0.0 else "–",
            number(one.crown), share(one.below), share(one.within), share(one.saturated),
        )
        for one in result.seals
    )  # fmt: skip
    low, top = result.map.stated_range
    return Table(head, rows, f"Range that this film tells: {low:g} to {top:g} MPa at the crown.")


def _pixels(result: FilmPrint) -> Pixels | None:
    if result.signal is None:
        return None
    return film_pixels(result.signal, (result.map.flags & flag_bit("hole")) != 0)


def write_print(
    result: FilmPrint, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the page of a predicted print, its pictures, maps and table; as `write_report`."""

    def page() -> Document:
        return print_page(result, links=tuple(links))

    def meanwhile(draft: Path) -> None:
        pixels = _pixels(result)
        if pixels is not None:
            (draft / "film.png").write_bytes(film_png(pixels, result.map.grid.pitch))
        write_map(draft / "print.nc", result.map)
        write_map_tiff(draft / "print.tif", result.map)

    tables = {"seals": print_columns(result)}
    return write_report(folder, page, tables=tables, units=_UNITS, meanwhile=meanwhile, overwrite=overwrite)
