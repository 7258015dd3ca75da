"""Cylinder pressure traces from text files: what is not said is asked, and answers can be saved."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
from numpy.typing import NDArray

from firedeck.definition.trace_mapping import PressureColumn, TraceMapping
from firedeck.duty.limits import DutyError
from firedeck.duty.record import (
    PressureRecord,
    record_by_angle,
    record_by_samples,
    record_by_teeth,
    record_by_time,
)
from firedeck.files.trace_layout import DELIMITERS, TraceLayout, inspect_trace_file
from firedeck.files.trace_questions import (
    TraceQuestionsError,
    questions_about,
    take_from_header,
    wanted_columns,
)
from firedeck.units import parse_quantity

__all__ = ["read_trace_file"]

Floats = NDArray[np.float64]

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6}


def read_trace_file(path: str | Path, mapping: TraceMapping | None = None) -> tuple[PressureRecord, ...]:
    """Read the cylinder pressures of a trace file.

    Parameters
    ----------
    path : str or Path
        Text file, one row per sample.
    mapping : TraceMapping, optional
        Answers to what the file does not say.

    Returns
    -------
    tuple of PressureRecord
        One for each cylinder; the notes of each say what was taken from the file's header.

    Raises
    ------
    TraceQuestionsError
        If something stays open.
    DutyError
        If the file cannot be read, or contradicts the mapping.
    """
    known = mapping or TraceMapping()
    mark = None if known.delimiter is None else DELIMITERS[known.delimiter]
    layout = inspect_trace_file(path, delimiter=mark, decimal=known.decimal, first_row=known.first_row)
    told = take_from_header(layout, known)
    questions = questions_about(layout, told)
    if questions:
        raise TraceQuestionsError(str(path), questions)
    table = _load(Path(path), layout, wanted_columns(told))
    notes = _told(layout, known, told)
    return tuple(_record(told, table, entry, notes) for entry in told.pressure)


def _told(layout: TraceLayout, known: TraceMapping, told: TraceMapping) -> tuple[str, ...]:
    """Say what was taken from the header, so that nothing is assumed in silence."""
    notes = []
    if not known.pressure:
        names = ", ".join(
            f"{layout.columns[entry.column - 1].label} in {entry.unit} as cylinder {entry.cylinder}"
            for entry in told.pressure
        )
        notes.append(f"by the file's header: {names}")
    if known.base is None and told.base_column:
        column = layout.columns[told.base_column - 1]
        notes.append(f"by the file's header: {column.label} counts {told.base} in {told.base_unit}")
    return tuple(notes)


def _load(path: Path, layout: TraceLayout, wanted: Iterable[int]) -> dict[int, Floats]:
    """Read the wanted columns whole."""
    names = [f"c{column.number}" for column in layout.columns]
    source: io.BytesIO | str = str(path)
    delimiter = layout.delimiter
    if delimiter == " ":
        source, delimiter = (
            io.BytesIO(re.sub(rb"[ \t]+", b" ", path.read_bytes()).replace(b"\n ", b"\n")),
            " ",
        )
    skipped = 0

    def skip(_row: pa.csv.InvalidRow) -> str:
        nonlocal skipped
        # a trailing delimiter, and a last line cut short, are no reason to refuse a trace
        skipped += 1
        return "skip"

    keep = [f"c{number}" for number in wanted]
    try:
        table = pa.csv.read_csv(
            source,
            read_options=pa.csv.ReadOptions(
                skip_rows=layout.first_row - 1,
                column_names=[*names, *_tail(layout)],
                encoding=layout.encoding,
            ),
            parse_options=pa.csv.ParseOptions(delimiter=delimiter, invalid_row_handler=skip),
            convert_options=pa.csv.ConvertOptions(
                include_columns=keep,
                column_types={name: pa.float64() for name in keep},
                decimal_point=layout.decimal or ".",
                null_values=["", "nan", "NaN", "NAN", "-"],
            ),
        )
    except (pa.ArrowInvalid, OSError) as fault:
        raise DutyError(
            f"the numbers of the file cannot be read: {str(fault).splitlines()[0]}",
            where=str(path),
            remedy="mend or cut the rows that are not numbers",
        ) from fault
    if skipped > max(10, 0.001 * table.num_rows):
        raise DutyError(
            f"{skipped} rows of the file have another number of columns",
            where=str(path),
            remedy="export the trace again, or cut it into files of one layout",
        )
    return {number: table.column(f"c{number}").to_numpy() for number in wanted}


def _tail(layout: TraceLayout) -> list[str]:
    """Name of the empty column that a delimiter at the end of the line opens."""
    ends = layout.delimiter != " " and layout.example.rstrip(" ").endswith(layout.delimiter)
    return ["tail"] if ends else []


def _record(
    told: TraceMapping,
    table: dict[int, Floats],
    entry: PressureColumn,
    notes: tuple[str, ...],
) -> PressureRecord:
    pressure = _pressure(table[entry.column], entry)
    manifold = None
    if told.reference_column and told.reference_unit:
        manifold = table[told.reference_column] * _factor(told.reference_unit)
    sound, lost = _without_holes(pressure, table, told)
    pressure, base = pressure[sound], {number: values[sound] for number, values in table.items()}
    manifold = None if manifold is None else manifold[sound]
    found = _by_base(told, pressure, base, entry, manifold)
    lost_note = (f"{lost} rows without a number left out",) if lost else ()
    return PressureRecord(**{**vars(found), "notes": (*notes, *lost_note, *found.notes)})


def _without_holes(
    pressure: Floats, table: dict[int, Floats], told: TraceMapping
) -> tuple[NDArray[np.bool_], int]:
    sound = np.isfinite(pressure)
    for number in (told.base_column, told.tooth_column):
        if number:
            sound &= np.isfinite(table[number])
    return sound, int(np.count_nonzero(~sound))


def _by_base(
    told: TraceMapping,
    pressure: Floats,
    table: dict[int, Floats],
    entry: PressureColumn,
    manifold: Floats | None,
) -> PressureRecord:
    if told.base == "sample":
        return record_by_samples(
            pressure,
            told.samples_per_turn or 0.0,
            start_angle=told.start_angle,
            cylinder=entry.cylinder,
            absolute=entry.absolute,
            speed=told.speed,
            manifold_pressure=manifold,
        )
    base = table[told.base_column or 1]
    if told.base == "angle":
        angle = np.degrees(base) if told.base_unit == "rad" else base
        return record_by_angle(
            angle,
            pressure,
            cylinder=entry.cylinder,
            absolute=entry.absolute,
            speed=told.speed,
            manifold_pressure=manifold,
        )
    time = base * _SECONDS[told.base_unit or "s"]
    if told.tooth_column:
        return record_by_teeth(
            time,
            pressure,
            table[told.tooth_column],
            told.teeth or 0,
            told.missing_teeth,
            cylinder=entry.cylinder,
            absolute=entry.absolute,
            manifold_pressure=manifold,
        )
    return record_by_time(
        time,
        pressure,
        told.speed or 0.0,
        cylinder=entry.cylinder,
        absolute=entry.absolute,
        manifold_pressure=manifold,
    )


def _pressure(values: Floats, entry: PressureColumn) -> Floats:
    if entry.unit in ("V", "mV"):
        volts = values * (1e-3 if entry.unit == "mV" else 1.0)
        return volts * (entry.gain or 0.0) + entry.offset
    return values * _factor(entry.unit) + entry.offset


def _factor(unit: str) -> float:
    """Return one `unit` in MPa."""
    return parse_quantity(f"1 {unit}", "pressure")
