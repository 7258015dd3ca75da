"""The give-way order as page, picture, table and JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from firedeck.drawing.giveway_picture import GiveBar, giveway_figure
from firedeck.drawing.picture_file import to_png_bytes
from firedeck.report.cautions import prediction_limits_section
from firedeck.report.document import (
    Document,
    Facts,
    Headline,
    Link,
    Notes,
    Paragraph,
    Picture,
    Section,
    Table,
)
from firedeck.report.record_tables import provenance_table
from firedeck.report.words import number
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.prediction.giveway import GiveWayReading, SealGiveWay
from firedeck.study.report_folder import write_report

__all__ = ["giveway_columns", "giveway_line", "giveway_page", "giveway_record", "write_giveway"]

_UNITS = {
    "pressure_MPa": "MPa", "pressure_low_MPa": "MPa", "pressure_high_MPa": "MPa", "settled_MPa": "MPa",
    "power_kW": "kW", "angle_deg": "degree",
}  # fmt: skip


def giveway_columns(reading: GiveWayReading) -> Columns:
    """Return one row a seal, the first to give on top."""
    return columns_of(
        [
            {
                "seal": one.seal,
                "kind": one.kind,
                "bore": one.event.bore,
                **estimate_columns("pressure", one.pressure, "MPa"),
                "angle_deg": one.event.angle,
                "reason": one.event.reason,
                "settled_MPa": reading.other.get(one.seal, math.nan),
                "power_kW": one.power,
            }
            for one in reading.seals
        ]
    )


def giveway_record(reading: GiveWayReading) -> dict[str, object]:
    """Return a give-way order as plain data for JSON; what holds to the end of the search is null."""
    load = reading.load.load if reading.load else None
    record: dict[str, object] = {
        "prediction": reading.files.prediction.name,
        "state": reading.state,
        "highest_MPa": reading.highest,
        "order": as_rows(giveway_columns(reading)),
        "gas_MPa": dict(reading.gas.pressures),
        "power_at_first_kW": [load.power.value, load.power.low, load.power.high]
        if load and load.power
        else None,
        "assumptions": list(reading.assumptions),
        "provenance": dict(reading.files.provenance),
    }
    return {key: plain(value) for key, value in record.items()}


def giveway_line(one: SealGiveWay) -> str:
    """Return one seal's give-way in words."""
    if not math.isfinite(one.event.pressure):
        return f"{one.seal} holds to the end of the search"
    bars = f"{10 * one.pressure.value:.0f} bar ({10 * one.pressure.low:.0f} to {_bar(one.pressure.high)})"
    power = f", {one.power:.0f} kW" if math.isfinite(one.power) else ""
    return f"{one.seal} at {bars} in {one.event.bore}{power}: {one.event.reason}, at {one.event.angle:.0f}°"


def _bar(pressure: float) -> str:
    return f"{10 * pressure:.0f}" if math.isfinite(pressure) else "no end found"


def giveway_page(reading: GiveWayReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the page of a give-way order together."""
    first = reading.seals[0]
    wanted = max(reading.gas.pressures.values(), default=math.nan)
    lines = [f"{giveway_line(first)}."]
    if math.isfinite(wanted):
        lines.append(f"The joint is to stand {10 * wanted:.0f} bar.")
    sections = (
        Section("order", "Which seal gives first", (Paragraph(_HOW), _picture(reading), _table(reading))),
        *_power(reading),
        Section("assumptions", "Assumptions that change the result", (Notes(reading.assumptions),)),
        Section("provenance", "Settings and provenance", (provenance_table(reading.files.provenance),)),
        prediction_limits_section(),
    )
    at = f"at {10 * first.pressure.value:.0f} bar" if math.isfinite(first.pressure.value) else ""
    headline = Headline(f"First to give: {first.seal} {at}".strip(), "", tuple(lines))
    title = f"{reading.files.prediction.name}, on {reading.files.plan.name}"
    return Document(title, "Give-way order", headline, sections, links)


_HOW = (
    "The pressure of one cylinder after another is raised, the others at rest, until a seal passes "
    "one of its limits. Each seal stands with the cylinder that makes it give first. At 0 bar: it "
    "gives without gas. Bars end where the seal gives, lines are the 95 % interval: preload, "
    "stiffness of head and block, gasket, and the idealised geometry."
)


def _picture(reading: GiveWayReading) -> Picture:
    bars = [GiveBar(_with_bore(one), one.pressure, one.event.reason) for one in reading.seals]
    curve = reading.load.load.curve if reading.load else None
    figure = giveway_figure(
        bars,
        highest=reading.highest,
        gas=max(reading.gas.pressures.values(), default=0.0) or None,
        power=(curve.peak, curve.power) if curve is not None else None,
        title=f"Give-way order, {reading.state}",
    )
    caption = (
        "Cylinder pressure at which each seal gives, the first on top, with the bore that fires in brackets."
    )
    return Picture("giveway", to_png_bytes(figure), caption)


def _with_bore(one: SealGiveWay) -> str:
    return f"{one.seal} ({one.event.bore})" if math.isfinite(one.event.pressure) else one.seal


def _table(reading: GiveWayReading) -> Table:
    head = (
        "order",
        "seal",
        "kind",
        "fires",
        "gives at [bar]",
        "95 % interval [bar]",
        "at angle",
        "governed by",
    )
    extra = []
    if reading.other:
        extra.append("settled and cold, gives at [bar]")
    if reading.load is not None:
        extra.append("power [kW]")
    rows = []
    for place, one in enumerate(reading.seals, start=1):
        holds = not math.isfinite(one.event.pressure)
        row = [
            str(place), one.seal, one.kind, "–" if holds else one.event.bore,
            f"over {10 * reading.highest:.0f}" if holds else f"{10 * one.pressure.value:.0f}",
            _interval(one.pressure.low, one.pressure.high),
            "–" if holds else f"{one.event.angle:.0f}°", one.event.reason,
        ]  # fmt: skip
        if reading.other:
            row.append(_over(reading.other[one.seal], reading.highest))
        if reading.load is not None:
            row.append(number(one.power, 3))
        rows.append(tuple(row))
    return Table((*head, *extra), tuple(rows), "Not shown: beyond what the duty's curve of power covers.")


def _interval(low: float, high: float) -> str:
    return f"{10 * low:.0f} to {_bar(high)}" if math.isfinite(low) else "–"


def _over(pressure: float, highest: float) -> str:
    return f"{10 * pressure:.0f}" if math.isfinite(pressure) else f"over {10 * highest:.0f}"


def _power(reading: GiveWayReading) -> tuple[Section, ...]:
    if reading.load is None:
        return ()
    load = reading.load.load
    power = load.power
    rows = [("cylinder pressure of the first seal to give", f"{10 * load.peak:.0f} bar")]
    if power is not None:
        rows.append(("brake power there", f"{power.value:.0f} kW ({power.low:.0f} to {power.high:.0f})"))
    rows.append(("mean effective pressure", f"{10 * load.bmep.value:.1f} bar"))
    rows += [(f"moved: {one.words}", f"{one.before:.4g} to {one.after:.4g} {one.unit}") for one in load.moved]
    return (Section("power", "In power", (Facts(tuple(rows)), Notes(load.notes))),)


def write_giveway(
    reading: GiveWayReading, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the page of a give-way order with picture and table; as `write_report`."""
    tables = {"giveway": giveway_columns(reading)}

    def page() -> Document:
        return giveway_page(reading, links=tuple(links))

    return write_report(folder, page, tables=tables, units=_UNITS, overwrite=overwrite)
