"""The scatter of a joint as page, picture, tables and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.drawing.picture_file import to_png_bytes
from firedeck.drawing.scatter_picture import ScatterBar, scatter_figure
from firedeck.evidence import Estimate
from firedeck.report.cautions import prediction_limits_section
from firedeck.report.document import Document, Headline, Link, Notes, Paragraph, Picture, Section, Table
from firedeck.report.record_tables import provenance_table
from firedeck.report.words import number
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.prediction.scatter import ScatterReading, SealScatter, Share
from firedeck.study.report_folder import write_report

__all__ = ["scatter_record", "share_words", "write_scatter"]

_UNITS = {
    f"{name}{end}_{unit}": unit.replace("_per_", "/")
    for names, unit in (
        (("mean", "lowest"), "N_per_mm"), (("ratio", "short"), "1"), (("tight", "settled"), "N"),
    )
    for name in names
    for end in ("", "_low", "_high")
}  # fmt: skip

#: Least share of a variance that is worth a word [1].
_WORTH_TELLING = 0.02


def share_words(share: Share) -> str:
    """Return a share in words, with its interval; nothing met is told as a bound."""
    if share.count == 0:
        return f"none of {share.of} (at most {100 * share.value.high:.2g} %)"
    one = share.value
    return f"{100 * one.value:.2g} % ({100 * one.low:.2g} to {100 * one.high:.2g})"


def moved_words(one: SealScatter) -> str:
    """Return what a seal's scatter goes with, the most first."""
    told = [f"{words} {100 * part:.0f} %" for words, part in one.moved.items() if part >= _WORTH_TELLING]
    return ", ".join(told[:3]) or "–"


def scatter_columns(reading: ScatterReading) -> Columns:
    """Return one row a seal, the one that is short most often on top."""
    return columns_of(
        [
            {
                "seal": one.seal,
                "kind": one.kind,
                **estimate_columns("mean", one.mean, "N_per_mm"),
                **estimate_columns("lowest", one.lowest, "N_per_mm"),
                **estimate_columns("ratio", one.ratio, "1"),
                **estimate_columns("short", one.short.value, "1"),
                "governed": one.governed,
            }
            for one in reading.seals
        ]
    )


def fastener_columns(reading: ScatterReading) -> Columns:
    """Return one row a fastener."""
    return columns_of(
        [
            {
                "fastener": one.name,
                **estimate_columns("tight", one.tight, "N"),
                **estimate_columns("settled", one.settled, "N"),
            }
            for one in reading.fasteners
        ]
    )


def scatter_record(reading: ScatterReading) -> dict[str, object]:
    """Return the scatter of a joint as plain data for JSON."""
    seals = [
        {**row, "moved": dict(one.moved)}
        for row, one in zip(as_rows(scatter_columns(reading)), reading.seals, strict=True)
    ]
    short = reading.short.value
    record: dict[str, object] = {
        "prediction": reading.files.prediction.name,
        "assemblies": reading.assemblies,
        "seed": reading.seed,
        "gas_MPa": dict(reading.gas.pressures),
        "gas_scatter_1": reading.gas_scatter,
        "short_1": [short.value, short.low, short.high],
        "seals": seals,
        "fasteners": as_rows(fastener_columns(reading)),
        "assumptions": list(reading.assumptions),
        "provenance": dict(reading.files.provenance),
    }
    return {key: plain(value) for key, value in record.items()}


def scatter_page(reading: ScatterReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the page of a joint's scatter together."""
    provenance = {
        **reading.files.provenance, "assemblies": str(reading.assemblies), "seed": str(reading.seed),
    }  # fmt: skip
    sections = (
        Section("scatter", "What every seal has", (Paragraph(_HOW), _picture(reading), _seal_table(reading))),
        Section("fasteners", "What every fastener holds", (_fastener_table(reading),)),
        Section("assumptions", "Assumptions that change the result", (Notes(_notes(reading)),)),
        Section("provenance", "Settings and provenance", (provenance_table(provenance),)),
        prediction_limits_section(),
    )
    title = f"{reading.files.prediction.name}, on {reading.files.plan.name}"
    return Document(title, "Scatter between assemblies", _headline(reading), sections, links)


def _headline(reading: ScatterReading) -> Headline:
    first = reading.seals[0]
    lines = (
        f"Some seal has less than it needs in {share_words(reading.short)} of the assemblies drawn.",
        f"{first.seal} comes nearest: {_band(first.ratio, 2)} times what it needs, by {first.governed}.",
    )
    return Headline(f"{reading.assemblies} assemblies drawn", "", lines)


_HOW = (
    "Every assembly gets its own friction and wrench, is tightened step by step, settled, warmed "
    "and fired. Bands hold 95 % of the assemblies. Castings, gasket and settling are the same in "
    "all: what is not known of them stands in the prediction's own report and comes on top."
)


def _notes(reading: ScatterReading) -> tuple[str, ...]:
    gas = (
        f"The gas scatters by {100 * reading.gas_scatter:.0f} % (95 %), one draw for each assembly."
        if reading.gas_scatter
        else "The gas does not scatter: one pressure for all assemblies."
    )
    return gas, "Solved on patches along the seals (fast level).", *reading.assumptions


def _picture(reading: ScatterReading) -> Picture:
    bars = [ScatterBar(one.seal, one.ratio, one.short.value.value) for one in reading.seals]
    figure = scatter_figure(bars, title=f"{reading.assemblies} assemblies")
    caption = (
        "What each seal has over what it needs: the middle of all assemblies and the band that 95 % lie in."
    )
    return Picture("scatter", to_png_bytes(figure), caption)


def _band(one: Estimate, digits: int = 3) -> str:
    return f"{number(one.value, digits)} ({number(one.low, digits)} to {number(one.high, digits)})"


def _seal_table(reading: ScatterReading) -> Table:
    head = (
        "seal", "kind", "mean line load, settled [N/mm]", "lowest of all states [N/mm]",
        "times what it needs [1]", "has less than it needs", "governed by, mostly", "goes with",
    )  # fmt: skip
    rows = tuple(
        (
            one.seal, one.kind, _band(one.mean), _band(one.lowest), _band(one.ratio, 2),
            share_words(one.short), one.governed, moved_words(one),
        )
        for one in reading.seals
    )  # fmt: skip
    caption = (
        "The seal that is short most often on top. Brackets: 95 % of the assemblies lie there; of a share, "
        "the interval that so many draws leave. Goes with: share of the scatter by what was drawn, one "
        "fastener against the others."
    )
    return Table(head, rows, caption)


def _fastener_table(reading: ScatterReading) -> Table:
    rows = tuple(
        (
            one.name,
            _kilonewtons(one.tight),
            _kilonewtons(one.settled),
            f"{one.tight.high / one.tight.low:.2f}",
        )
        for one in reading.fasteners
    )
    head = ("fastener", "after the last turn [kN]", "settled [kN]", "greatest over least [1]")
    return Table(head, rows, "With what neighbours take from each other. Brackets: 95 % of the assemblies.")


def _kilonewtons(one: Estimate) -> str:
    return f"{one.value / 1e3:.1f} ({one.low / 1e3:.1f} to {one.high / 1e3:.1f})"


def write_scatter(
    reading: ScatterReading, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the page of a joint's scatter with picture and tables; as `write_report`."""
    tables = {"scatter": scatter_columns(reading), "fasteners": fastener_columns(reading)}

    def page() -> Document:
        return scatter_page(reading, links=tuple(links))

    return write_report(folder, page, tables=tables, units=_UNITS, overwrite=overwrite)
